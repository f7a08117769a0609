/* The film section, the page's main control: strips at the spot last touched, their names, and what is not there. */

import { byId, el, press, redraw, setText, svg, sync, tell } from "./dom.js";
import { afterPicture, ask, look, on, say, store } from "./store.js";
import { coats, film } from "./say.js";
import { coreDrawing, sectionDrawing } from "./section_draw.js";
import { bar, faceNow, heights, label, lands, masked, spot, stripsNow, toldState, wetWords } from "./strips.js";
import * as pulling from "./pull.js";
import * as order from "./order.js";
import { openCoat } from "./bench.js";

const RELIEF_SHARE = 0.2, CORE_LEAST = 380;
let asked = "", turn = 0;
/* While a strip is pulled its scale stays, so that it grows under the finger. */
const held = { perUm: null, rows: null };

export function begin() {
  pulling.begin();
  on("state", () => { chooseFirst(); fetchSpot(); draw(); });
  on("pull", () => {
    held.perUm = pulling.active() ? held.perUm || (held.rows && held.rows.perUm) : null;
    draw();
  });
  on("look", (changes) => {
    if ("spot" in changes || "light" in changes) fetchSpot();
    draw();
  });
  new ResizeObserver(draw).observe(byId("film"));
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && store.look.after !== null && !event.defaultPrevented) after(null);
  });
}

/* Where the section is before anything was touched: near the edge of the first face, where most films meet. */
function chooseFirst() {
  const { state, look: now } = store;
  if (!state.faces || (now.spot && state.faces.some((face) => face.name === now.spot.face))) return;
  const face = state.faces[0], low = face.outline.filter(([, y]) => Math.abs(y - 0.7 * face.height_mm) < 0.05 * face.height_mm);
  const left = Math.min(...(low.length ? low : face.outline).map(([x]) => x));
  store.look.spot = { face: face.name, x_mm: left + 0.11 * face.width_mm, y_mm: 0.7 * face.height_mm };
}

/* Ask what lies at the spot; what is drawn stays until it has come. */
export async function fetchSpot() {
  const own = turn += 1;
  await afterPicture();
  const at = store.look.spot;
  if (own !== turn || !at) return;
  const light = store.look.light || store.state.lights[0];
  const query = new URLSearchParams({ face: at.face, x: at.x_mm.toFixed(2), y: at.y_mm.toFixed(2), light }).toString();
  asked = `${store.state.version} ${query}`;
  const mine = asked, [status, told] = await ask(`/api/spot?${query}`);
  if (mine !== asked || status !== 200) return;
  spot.told = told;
  draw();
  say("spot");
}

/* Move the section to a place where a coat lands. */
export async function goTo(i) {
  const [status, told] = await ask(`/api/spot?coat=${i}`);
  if (status !== 200) return;
  look({ spot: { face: told.face, x_mm: told.x_mm, y_mm: told.y_mm } });
  tell(`Section at A: ${told.place}`);
}

/* The part as it is after a coat; again, or null, for the whole. */
export function after(i) {
  const last = store.state.coats.length - 1, next = i === store.look.after || i === "clear" ? null : i;
  look({ after: next });
  tell(next === null ? "The part finished" : next < 0 ? "The part bare" : `The part after ${store.state.coats[next].name}: stage ${next + 1} of ${last + 1}`);
}

export function draw() {
  const { state } = store, told = spot.told;
  if (!state || !state.coats || !told || !toldState()) return;
  const strips = stripsNow().filter((strip) => strip.i === "clear" || strip.i === -1 || strip.i < state.coats.length);
  const box = byId("film"), whole = heights(strips, Math.max(CORE_LEAST, roomFor(box)), held.perUm);
  held.rows = whole;
  const { rows } = whole, um = strips.map((strip) => strip.um.likely);
  box.style.setProperty("grid-template-rows", rows.map((px) => `${px.toFixed(1)}px`).join(" "));
  const metal = faceNow().base_kind === "metal", relief = metal ? RELIEF_SHARE * rows.reduce((a, b) => a + b, 0) : 6;
  box.querySelector(".section").replaceChildren(sectionDrawing(strips, rows, { metal, relief }));
  box.querySelector(".core").replaceChildren(coreDrawing(strips, rows, um));
  const scale = bar(um), [line, words] = box.querySelector(".scale").children;
  for (const one of [line, words]) one.style.setProperty("height", `${100 * scale.share}%`);
  setText(words, scale.words);
  sync(byId("strips"), strips.map((strip, row) => ({ ...strip, row })), (strip) => strip.key, makeStrip, changeStrip);
  setText(byId("spot-words"), told.place);
  const dyes = strips.length > 2, by = !dyes ? "the same, larger" : whole.times >= 1.15 ? `dye coats drawn ${whole.times.toFixed(1)} times as tall as clear and base` : "the same, for fingers";
  setText(byId("scales"), `Left: true to scale. Right: ${by}${whole.taller ? ", the thinnest taller still" : ""}.`);
  elsewhere();
}

function roomFor(box) {
  if (matchMedia("(max-width: 860px), (max-aspect-ratio: 1/1)").matches) return CORE_LEAST;
  const plate = box.parentElement, style = getComputedStyle(box), own = getComputedStyle(plate), gap = parseFloat(own.rowGap) || 0;
  const others = [...plate.children].filter((one) => one !== box).reduce((sum, one) => sum + one.offsetHeight + gap, 0);
  return plate.clientHeight - others - parseFloat(style.paddingTop) - parseFloat(own.paddingTop) - parseFloat(own.paddingBottom) - 4;
}

function makeStrip(strip) {
  const node = el("li", { class: "strip" });
  const take = el("button", { type: "button", class: "take", "aria-controls": "mix", "aria-expanded": "false" });
  const level = el("button", { type: "button", class: "level" }, svg("svg", { viewBox: "-13 -13 26 26", "aria-hidden": "true", focusable: "false" }, svg("path", { d: "M-10 -13H10L0 0Z" })));
  const says = el("div", { class: "says" }, el("h3", { class: "name" }), el("p", { class: "n first" }), el("p", { class: "n second" }));
  node.append(take, level);
  if (strip.coats !== null) node.append(pulling.tag(strip.i));
  node.append(says);
  order.begin(take, strip.i, () => openCoat(strip.i));
  level.addEventListener("click", () => after(strip.i));
  return node;
}

function changeStrip(node, strip) {
  const take = node.querySelector(".take"), level = node.querySelector(".level");
  for (const part of node.children) part.style.setProperty("grid-row", String(strip.row + 1));
  node.className = `strip ${strip.kind}${strip.off ? " off" : ""}`;
  take.setAttribute("aria-expanded", String(store.look.bench === "mix" && store.look.open === strip.i));
  take.setAttribute("aria-label", order.words(strip));
  level.setAttribute("aria-label", `Show the part ${strip.i === "clear" ? "finished" : strip.i < 0 ? "bare" : `after ${strip.name}`}`);
  press(level, strip.i !== "clear" && store.look.after === strip.i);
  const [first, second] = saysOf(strip);
  setText(node.querySelector(".name"), strip.name);
  setText(node.querySelector(".first"), first);
  setText(node.querySelector(".second"), second);
  const tag = node.querySelector(".pull");
  if (tag) pulling.change(tag, strip);
}

function pulledNow(i) { return store.pulled.films[i] !== undefined || store.pulled.coats[i] !== undefined; }

function saysOf(strip) {
  const { state } = store, told = spot.told, wet = store.look.pulls === "films" && pulledNow(strip.i);
  if (strip.kind === "clear") return [`${coats(strip.coats)}, ${state.clear.finish}`, wet ? wetWords(strip) : film(strip.um)];
  if (masked() && strip.kind === "base") return ["no paint from any coat", ""];
  if (strip.kind === "base") return told.relief_um ? ["relief", film(told.relief_um)] : [faceNow().base.split(",").slice(0, 2).join(","), ""];
  const coat = state.coats[strip.i], share = told.builds[strip.i], word = coat.film_word ? `, ${coat.film_word}` : "";
  const lies = wet ? wetWords(strip) : share < 0.98 ? `${Math.round(100 * share)} % lands here` : `${coats(strip.coats)}${word}`;
  return [film(strip.um), lies];
}

/* The coats that do not land at A: touching one moves A to where it does. */
function elsewhere() {
  const { state } = store, missing = state.coats.filter((coat) => !lands(coat.index));
  const buttons = missing.map((coat) => el("button", {
    type: "button", "data-key": `go ${coat.index}`, on: { click: () => goTo(coat.index) },
  }, `${label(coat.index)}${coat.where === "everywhere" ? "" : `, ${coat.where}`}`));
  redraw(byId("elsewhere"),
    missing.length ? el("span", { class: "soft" }, "Not at A:") : null, buttons,
    el("button", { type: "button", "data-key": "add", "aria-controls": "mix", "aria-expanded": String(store.look.bench === "mix" && store.look.open === "new"), on: { click: () => openCoat("new") } }, "Add a coat"));
}

export function stageWords() {
  const { state, look: now } = store;
  if (now.after === null) return "finished";
  return now.after < 0 ? "bare, before any colour" : `after ${state.coats[now.after].name}: stage ${now.after + 1} of ${state.coats.length}`;
}

