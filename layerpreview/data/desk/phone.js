/* The shop's phone: the part, and one thing of one coat under the thumb; photos go to the desk. */
import { byId, choice, el, redraw, setText, tell } from "./dom.js";
import { asItStands, begin, draw, picture, turn } from "./picture.js";
import { capital, coats, film, length, short } from "./say.js";
import { about, amountOf, ask, coatsOf, edit, letGo, load, look, on, pull, store, watch, widthOf } from "./store.js";

const WORDS = ["light", "medium", "wet"], REST_MS = 600, STRONGER = 1.1, WIDER_MM = 5, TURN_DEG = 0.4;
const LOOK = "look";
/* What is under the thumb: a coat by its number, or how it is looked at; and what of it. */
const hand = { at: 0, of: "coats", timer: null };

const coat = () => store.state.coats[hand.at];
const mixOf = (one) => store.state.mixes.find((mix) => mix.name === one.mix);
/* The places that the two buttons at the foot go through: coats in the order of spraying, then the light. */
const places = () => [...store.state.coats.map((_, i) => i), LOOK];
const nameAt = (at) => (at === LOOK ? "Light, place, sheet" : `${at + 1} ${capital(store.state.coats[at].name)}`);

function show() {
  const state = store.state;
  if (!state || state.begin || !state.coats) {
    setText(byId("what"), state && state.begin ? "No job is open at the desk yet" : "The job cannot be read");
    byId("count").classList.add("pick");
    redraw(byId("count"), el("p", {}, "A photo that you take now goes to the desk."));
    setText(byId("seen"), "nothing to be seen yet");
    for (const id of ["before", "after"]) {
      byId(id).disabled = true;
      byId(id).setAttribute("aria-label", "nothing further");
    }
    return;
  }
  if (hand.at !== LOOK && hand.at >= state.coats.length) hand.at = state.coats.length - 1;
  setText(byId("what"), nameAt(hand.at));
  if (hand.at === LOOK) showLook();
  else showCoat();
  const all = places(), k = all.indexOf(hand.at);
  for (const [id, to] of [["before", all[k - 1]], ["after", all[k + 1]]]) {
    byId(id).disabled = to === undefined;
    setText(byId(id), to === undefined ? "" : nameAt(to));
    byId(id).setAttribute("aria-label", to === undefined ? "nothing further" : nameAt(to));
  }
  setText(byId("seen"), ["finished", around(), lightWords()].join(", "));
  document.title = `${state.name}: the shop's phone`;
}

const around = () => (store.look.around === "window" ? "by a window" : store.look.around);
const lightWords = () => store.state.light_words[store.look.light || store.state.lights[0]] || store.look.light || store.state.lights[0];

/* --- a coat --- */

function showCoat() {
  const one = coat(), mix = one.kind === "dye" ? mixOf(one) : null;
  const about = [["coats", "Coats"], ["film", "Film"], ...(mix ? mix.dyes.map((dye) => [`dye ${dye.name}`, dye.name]) : []), ...(one.bursts.length ? [["width", "Width"]] : [])];
  if (!about.some(([of]) => of === hand.of)) hand.of = "coats";
  setText(byId("more"), `${film(one.dry_um)} dry`);
  redraw(byId("about"), about.map(([of, words]) => {
    const node = choice("", hand.of === of, () => { settle(); hand.of = of; show(); }, { "data-key": of });
    const dye = of.startsWith("dye ") && store.state.mixes.length ? swatch(words) : null;
    node.append(...(dye ? [dye] : []), words);
    return node;
  }));
  const given = { coats: ofCoats, film: ofFilm, width: ofWidth }[hand.of];
  const told = given ? given(one) : ofDye(one, mix, mix.dyes.find((dye) => `dye ${dye.name}` === hand.of));
  pair(told);
}

function swatch(name) {
  const known = (store.state.dyes || []).find((dye) => dye.name === name);
  return known ? el("i", { style: { "--dye": known.swatch } }) : null;
}

function pair({ large, little, less, more, what }) {
  byId("count").classList.remove("pick");
  redraw(byId("count"),
    el("button", { "aria-label": `${what} less`, "data-key": "less", disabled: !less, on: { click: less } }, "\u2212"),
    el("output", { class: "n" }, el("b", {}, large), el("small", {}, little)),
    el("button", { "aria-label": `${what} more`, "data-key": "more", disabled: !more, on: { click: more } }, "+"));
}

function ofCoats(one) {
  const i = hand.at, now = coatsOf(i);
  const to = (count) => later("coats", i, count, () => [`${one.name}: ${coats(count)}`, count === one.coats ? [] : [{ do: "set", at: ["coat", i, "coats"], to: count, was: one.coats }]]);
  return { large: coats(now), little: one.film_word ? `of ${one.film_word} film` : "of its own film", what: `${one.name}: coats`, less: now > one.fewest ? () => to(now - 1) : null, more: now < one.most ? () => to(now + 1) : null };
}

function ofFilm(one) {
  const i = hand.at, k = WORDS.indexOf(one.film_word);
  const to = (word) => change(`${one.name}: ${word} film`, [{ do: "set", at: ["coat", i, "film"], to: word }]);
  return { large: one.film_word ? `${one.film_word} film` : film(one.film_um), little: `${film(one.film_um)} wet, one coat`, what: `${one.name}: film`, less: k > 0 ? () => to(WORDS[k - 1]) : k < 0 ? () => to("light") : null, more: k >= 0 && k < 2 ? () => to(WORDS[k + 1]) : k < 0 ? () => to("wet") : null };
}

function ofDye(one, mix, dye) {
  const key = `${mix.name},${dye.name}`, now = amountOf(mix, dye);
  const to = (amount) => later("amounts", key, amount, () => {
    const text = `${short(amount, 3)} ${dye.unit}`;
    return [`${mix.name}: ${dye.name} ${text}`, [{ do: "set", at: ["mix", mix.name, "dyes", dye.name], to: text }]];
  });
  const [low, high] = [mix.weakest, mix.strongest].map((times) => dye.likely * times);
  return { large: `${short(now, 3)} ${dye.unit}`, little: now === dye.likely ? "as it is mixed now" : `${short(dye.likely, 3)} before`, what: `${dye.name}: strength`, less: now / STRONGER >= low ? () => to(now / STRONGER) : null, more: now * STRONGER <= high ? () => to(now * STRONGER) : null };
}

function ofWidth(one) {
  const i = hand.at, key = `${i},0`, now = widthOf(i, 0);
  const to = (mm) => later("widths", key, mm, () => [`${one.name}: ${length(mm)} wide`, [{ do: "set", at: ["coat", i, "burst", 0, "width"], to: `${mm} mm` }]]);
  return { large: length(now), little: `wide, from the ${one.bursts[0].from}`, what: `${one.name}: width`, less: now > WIDER_MM ? () => to(Math.max(1, now - WIDER_MM)) : null, more: () => to(now + WIDER_MM) };
}

/* Seen at once, written once the thumb rests. */
let waiting = null;
function later(kind, key, value, deed) {
  if (waiting && (waiting.kind !== kind || waiting.key !== key)) settle();
  clearTimeout(hand.timer);
  pull(kind, key, value);
  waiting = { kind, key, deed };
  hand.timer = setTimeout(settle, REST_MS);
  show();
}

function settle() {
  clearTimeout(hand.timer);
  if (!waiting) return;
  const { kind, key, deed } = waiting;
  waiting = null;
  const [words, changes] = deed();
  letGo(kind, key, words, changes).then((good) => { if (good) tell(words); show(); });
}

async function change(words, changes) {
  if (await edit(words, changes)) tell(words);
}

/* --- how it is looked at --- */

function showLook() {
  const state = store.state;
  setText(byId("more"), "");
  byId("count").classList.add("pick");
  redraw(byId("about"), [["surroundings", "Place"], ["light", "Light"], ["sheet", "Printed sheet"]].map(([of, words]) => choice(words, hand.of === of, () => { hand.of = of; show(); }, { "data-key": of })));
  if (hand.of === "sheet") showSheet();
  else if (hand.of !== "light") {
    hand.of = "surroundings";
    redraw(byId("count"), state.surroundings.map((one) => choice(one, store.look.around === one, () => { look({ around: one }); show(); }, { "data-key": one })));
  } else {
    redraw(byId("count"), state.lights.map((one) => choice(state.light_words[one] || one, (store.look.light || state.lights[0]) === one, () => { look({ light: one }); show(); }, { "data-key": one })));
  }
}

/* --- the mix sheet on the wall: is it of this job, as it is now --- */

function showSheet() {
  const text = el("textarea", { id: "printed", rows: "2", placeholder: "Text of the sheet's square code", "aria-label": "Text of the sheet's square code", on: { input: () => { hand.printed = text.value; } } }, hand.printed || "");
  const says = el("p", { role: "status" }, "Point the phone's camera at the square code, copy its text and put it in here.");
  const compare = async () => {
    const [status, told] = await ask("/api/sheet", { text: text.value });
    setText(says, status === 200 ? told.words : (told.problems || []).join(" ") || "The desk cannot be reached.");
  };
  redraw(byId("count"), el("div", { class: "sheet" }, says, text, el("button", { type: "button", "data-key": "compare", on: { click: compare } }, "Compare")));
}

/* --- the part under the finger --- */

function turning() {
  const place = byId("view"), canvas = byId("picture");
  let last = null;
  place.addEventListener("pointerdown", (event) => { place.setPointerCapture(event.pointerId); last = [event.clientX, event.clientY]; });
  place.addEventListener("pointermove", (event) => {
    if (!last) return;
    turn({ yaw: picture.pose.yaw + (event.clientX - last[0]) * TURN_DEG, pitch: picture.pose.pitch + (event.clientY - last[1]) * TURN_DEG });
    last = [event.clientX, event.clientY];
  });
  for (const end of ["pointerup", "pointercancel"]) place.addEventListener(end, () => { last = null; });
  place.addEventListener("dblclick", asItStands);
  canvas.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-6, 0], ArrowRight: [6, 0], ArrowUp: [0, -6], ArrowDown: [0, 6] }[event.key];
    if (event.key === "Home") asItStands();
    else if (way) turn({ yaw: picture.pose.yaw + way[0], pitch: picture.pose.pitch + way[1] });
    else return;
    event.preventDefault();
  });
}

/* --- photos --- */

async function photo(file) {
  if (!file) return;
  const says = byId("camera-says");
  setText(says, "Sending it");
  let words = "The desk cannot be reached";
  try {
    const answer = await fetch(about(`/upload/photo?name=${encodeURIComponent(file.name || "photo.jpg")}`), { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
    const told = await answer.json();
    words = answer.ok ? "It is at the desk" : told.problems.join(" ");
  } catch (error) { /* said below */ }
  byId("photo").value = "";
  setText(says, words === "It is at the desk" ? words : "Take it again");
  trouble(words === "It is at the desk" ? "" : words);
  tell(words);
  setTimeout(() => setText(says, "Take a photo"), 4000);
}

function trouble(words, ...more) {
  byId("trouble").hidden = !words;
  byId("trouble").replaceChildren(words, ...more);
}

function band() {
  if (store.other) trouble(`Another job is open at the desk now: ${store.other}.`, el("button", { type: "button", on: { click: () => location.reload() } }, "Go on with it"));
  else if (store.gone === "known") trouble("The desk does not know this phone any more. Take the code that it shows now.");
  else if (store.gone) trouble("The desk is closed, or this phone is in another network.");
  else if (store.asked) trouble("This was changed at the desk meanwhile. Look at it, and change it again if you like.");
  else trouble(store.failed.join(" "));
}

on("state", show);
on("pull", show);
on("band", band);
byId("photo").addEventListener("change", (event) => photo(event.target.files[0]));
for (const [id, by] of [["before", -1], ["after", 1]]) {
  byId(id).addEventListener("click", () => {
    settle();
    hand.at = places()[places().indexOf(hand.at) + by];
    show();
  });
}
turning();
begin();
watch();
load();
draw();
window.phone = { store, picture };
