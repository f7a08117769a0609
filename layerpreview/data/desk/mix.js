/* One coat open below the part: its droppers, its ladder, its wet film, the width of its bursts, its place in the order. */

import { byId, choice, el, redraw, typed } from "./dom.js";
import { edit, look, letGo, on, pull, store, widthOf } from "./store.js";
import { burstFrom, capital, coats, film, filmOne, filmWritten, length, readFilm, readLength } from "./say.js";
import { close, openName } from "./bench.js";
import { dropper, refreshDroppers } from "./droppers.js";
import { faceNow, label, lands, reach, spot } from "./strips.js";
import { setCoats } from "./pull.js";
import { spray } from "./order.js";
import { picture } from "./picture.js";
import { lay } from "./tape.js";
import { addCoat, addDye } from "./adding.js";

const WORDS = ["light", "medium", "wet"], FINISHES = ["gloss", "satin", "matt"];

export function begin() {
  on("state look spot", draw);
  on("pull", refreshDroppers);
}

export function draw() {
  const { state, look: now } = store;
  if (!state || !state.coats || now.bench !== "mix" || now.open === null) return;
  const i = now.open;
  const head = el("header", { class: "mix-head" }, el("h2", {}, openName()), el("button", { type: "button", "data-key": "back", on: { click: close } }, "Back to the film"));
  if (i === "new") redraw(byId("mix"), head, addCoat());
  else if (i === "clear") redraw(byId("mix"), head, ladder("clear", ["clear", "film"]), clearMore());
  else if (i < 0) redraw(byId("mix"), head, baseWords());
  else if (state.coats[i]) redraw(byId("mix"), head, coatParts(i));
}

function coatParts(i) {
  const coat = store.state.coats[i], mix = store.state.mixes.find((one) => one.name === coat.mix);
  const others = store.state.coats.filter((one) => one.mix === coat.mix && one.index !== i);
  return [
    mix ? el("div", { class: "droppers" }, mix.dyes.map((dye) => dropper(mix, dye))) : opaque(i),
    ladder(i, ["coat", i, "film"]),
    el("div", { class: "more" }, widths(i), mix ? addDye(mix, others.length) : null, place(i)),
  ];
}

/* The colours of the place after one coat, two, three ...: touch one to have that many. */
function ladder(i, at) {
  const { state } = store, coat = i === "clear" ? state.clear : state.coats[i], { most } = reach(i);
  const colours = spot.told && spot.told.ladders && spot.told.ladders[i], here = i === "clear" || lands(i);
  const count = Math.min(most, Math.max(8, coat.coats)), now = coat.coats;
  const rungs = Array.from({ length: count }, (_, k) => k + 1).map((n) => {
    const chip = colours && el("i", { class: "chip", style: { background: colours[n - 1] || "none" } });
    const name = i === "clear" ? "clear" : coat.name;
    return el("button", {
      type: "button", "aria-pressed": String(n === now), "aria-label": `${name}: ${coats(n)}`, "data-key": `rung ${n}`, on: { click: () => setCoats(i, n) },
    }, here && colours ? chip : "", String(n));
  });
  const words = i === "clear" ? "How many coats of clear" : here ? "The colour at A after so many coats" : "How many coats";
  return el("div", { class: "ladder" }, el("p", { class: "soft" }, words), el("div", { class: "rungs", role: "group", "aria-label": words }, rungs), wetFilm(at, coat));
}

/* Light, medium, wet, or what was measured. */
function wetFilm(at, coat) {
  const name = coat.name || "clear", say = coat.film_um || coat.film;
  const set = (to, words) => edit(`${name}: ${words}`, [{ do: "set", at, to }]);
  const buttons = WORDS.map((word) => choice(word, coat.film_word === word, () => set(word, `${word} film`), { "data-key": `film ${word}` }));
  const own = typed(`${name}: wet film of one coat`, coat.film_word ? "" : filmOne(say.likely), (text) => {
    const um = readFilm(text);
    if (um === null || um < 1 || um > 500) return false;
    set(filmWritten(um), `film ${filmOne(um)}`);
    return true;
  }, { "data-key": "film", size: 7, placeholder: filmOne(say.likely) });
  return el("fieldset", {}, el("legend", {}, `Wet film of a coat: ${film(say)}, ${say.rests_on || "assumed"}`), el("div", { class: "row" }, el("div", { class: "join" }, buttons), el("label", { class: "row" }, el("span", { class: "soft" }, "measured"), own)));
}

function widths(i) {
  const coat = store.state.coats[i];
  if (!coat.bursts.length) return null;
  return coat.bursts.map((burst, k) => {
    const set = (mm) => {
      const key = `${i},${k}`, to = Number(Math.max(1, mm).toFixed(1));
      pull("widths", key, to);
      letGo("widths", key, `${coat.name}: ${length(to)} wide`, [{ do: "set", at: ["coat", i, "burst", k, "width"], to: `${to} mm` }]);
    };
    const own = typed(`${coat.name}: width of the burst from ${burstFrom(burst)}`, length(widthOf(i, k)), (text) => {
      const mm = readLength(text);
      if (mm === null || mm < 1 || mm > 2000) return false;
      set(mm);
      return true;
    }, { "data-key": `width ${k}`, size: 7 });
    const step = (by) => () => set(widthOf(i, k) + by);
    return el("fieldset", {}, el("legend", {}, `Reaches from ${burstFrom(burst)} by`), el("div", { class: "row pair" },
      el("button", { type: "button", "aria-label": "narrower", "data-key": `narrower ${k}`, on: { click: step(-5) } }, "−"), own,
      el("button", { type: "button", "aria-label": "wider", "data-key": `wider ${k}`, on: { click: step(5) } }, "+")));
  });
}

function place(i) {
  const { coats: all } = store.state, coat = all[i];
  const button = (text, key, call, off) => el("button", { type: "button", "data-key": key, disabled: off, on: { click: call } }, text);
  return el("fieldset", {}, el("legend", {}, `Sprayed ${i + 1} of ${all.length}, ${coat.where === "everywhere" ? "all over" : `on ${coat.where}`}`), el("div", { class: "row" },
    button("Spray it earlier", "earlier", () => spray(i, i - 1), i === 0),
    button("Spray it later", "later", () => spray(i, i + 1), i === all.length - 1),
    button("Lay a tape line", "tape", () => lay(i), !picture.live),
    button("Take it away", "away", async () => {
      close();
      look({ after: null });
      await edit(`${coat.name} taken away`, [{ do: "remove", at: ["coat", i] }]);
    })));
}

function opaque(i) {
  const coat = store.state.coats[i];
  const input = el("input", { type: "color", value: coat.colour, "aria-label": `${coat.name}: its colour`, "data-key": "colour" });
  input.addEventListener("change", () => edit(`${coat.name}: another colour`, [{ do: "set", at: ["coat", i, "opaque"], to: input.value }]));
  return el("div", { class: "droppers" }, el("fieldset", {}, el("legend", {}, "Opaque: it hides what lies below"), input));
}

function clearMore() {
  const { clear } = store.state;
  const finishes = FINISHES.map((word) => choice(word, clear.finish === word, () => edit(`clear: ${word}`, [{ do: "set", at: ["clear", "finish"], to: word }]), { "data-key": `finish ${word}` }));
  return el("div", { class: "more" }, el("fieldset", {}, el("legend", {}, "It dries"), el("div", { class: "join" }, finishes)));
}

function baseWords() {
  const face = faceNow();
  return el("div", { class: "more" }, el("p", {}, capital(face.base) + "."), el("p", { class: "soft" }, `The base of ${face.name}; it is written under [base] in ${store.state.file}.`));
}
