/*
 * The tag on a strip's upper edge: pulled up or down it changes the number of coats or the wet film of one, whichever is
 * chosen above the strips; by hand, finger or key.
 */

import { byId, choice, el, redraw, setText, tell } from "./dom.js";
import { coats, film, filmOne, filmStepUm, filmWritten } from "./say.js";
import { filmUmOf, letGo, look, on, pull, store } from "./store.js";
import { reach, wetWords } from "./strips.js";

export const PX_PER_COAT = 28;
const PX_PER_FILM = 14, KEYS_REST_MS = 450, MOST_FILM_UM = 150;
let dragged = null, keyTimer = null, keyed = null;

export function active() { return dragged !== null; }

/* What a pull changes is chosen once for all strips; the page remembers it while it is open. */
export function begin() { on("look state", chooser); }

function chooser() {
  if (!store.state || !store.state.coats) return;
  const one = (pulls, word) => choice(word, store.look.pulls === pulls, () => look({ pulls }), { "data-key": `pulls ${pulls}` });
  redraw(byId("pulls"), one("coats", "coats"), one("films", "wet film"));
}

function nameOf(i) { return i === "clear" ? "clear" : store.state.coats[i].name; }

function countOf(i) { return i === "clear" ? store.state.clear.coats : store.state.coats[i].coats; }

/* The two kinds of pull: its value now and before, how far it goes, by what step, and what is written. */
const KINDS = {
  coats: {
    px: PX_PER_COAT, step: () => 1,
    now: (i) => store.pulled.coats[i] ?? countOf(i),
    before: countOf,
    reach,
    far: (most) => `${coats(most)} is as far as this goes; pull the wet film, or take a stronger mix`,
    written: (count) => [count, coats(count)],
    at: "coats",
  },
  films: {
    px: PX_PER_FILM, step: filmStepUm,
    now: filmUmOf,
    before: (i) => (i === "clear" ? store.state.clear.film : store.state.coats[i].film_um).likely,
    reach: (i) => ({ least: filmStepUm(), most: Math.max(MOST_FILM_UM, KINDS.films.before(i)) }),
    far: (most) => `${filmOne(most)} is as wet as this goes`,
    written: (um) => [filmWritten(um), `wet film ${filmOne(um)}`],
    at: "film",
  },
};

export function tag(i) {
  const node = el("div", { class: "pull", role: "slider", tabindex: "0", "aria-orientation": "vertical" }, el("span", { class: "n" }));
  node.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || dragged) return;
    event.preventDefault();
    settle();
    node.focus({ preventScroll: true });
    node.setPointerCapture(event.pointerId);
    const kind = store.look.pulls;
    dragged = { i, kind, y: event.clientY, from: KINDS[kind].now(i) };
  });
  node.addEventListener("pointermove", (event) => {
    if (dragged && dragged.i === i) moveTo(i, dragged.kind, dragged.from, Math.round((dragged.y - event.clientY) / KINDS[dragged.kind].px));
  });
  node.addEventListener("pointerup", () => end(i));
  node.addEventListener("pointercancel", () => end(i));
  node.addEventListener("keydown", (event) => key(event, i));
  node.addEventListener("blur", () => { if (keyed && keyed.i === i) settle(); });
  return node;
}

/* So many steps from a value, onto a round number of steps; seen at once. Past the last it is said how to go on. */
function moveTo(i, kind, from, steps) {
  const { now, step, far, reach: bounds } = KINDS[kind], { least, most } = bounds(i), one = step();
  const to = steps === 0 ? from : Number((Math.round(from / one + steps) * one).toFixed(2)), within = Math.min(most, Math.max(least, to));
  if (to > most) tell(far(most));
  if (within !== now(i)) pull(kind, i, within);
}

function end(i) {
  if (!dragged || dragged.i !== i) return;
  const { kind } = dragged;
  dragged = null;
  write(i, kind);
}

/* Write what was pulled; the same as before is no change. */
export async function write(i, kind = "coats") {
  const value = store.pulled[kind][i], { at, before, written } = KINDS[kind];
  if (value === undefined) return;
  const place = i === "clear" ? ["clear", at] : ["coat", i, at], [to, words] = written(value);
  await letGo(kind, i, `${nameOf(i)}: ${words}`, value === before(i) ? [] : [{ do: "set", at: place, to }]);
}

/* Set the number at once, as a chip of the ladder does. */
export function setCoats(i, count) {
  pull("coats", i, count);
  return write(i);
}

function key(event, i) {
  const kind = store.look.pulls, { least, most } = KINDS[kind].reach(i), one = KINDS[kind].step(), now = KINDS[kind].now(i);
  const steps = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 2, PageDown: -2, Home: (least - now) / one, End: (most - now) / one };
  if (!(event.key in steps) || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  moveTo(i, kind, now, steps[event.key]);
  keyed = { i, kind };
  clearTimeout(keyTimer);
  keyTimer = setTimeout(settle, KEYS_REST_MS);
}

/* Keys are written once they rest, so that five presses are one change. */
function settle() {
  clearTimeout(keyTimer);
  const last = keyed;
  keyed = null;
  if (last) write(last.i, last.kind);
}

export function change(node, strip) {
  const kind = store.look.pulls, { least, most } = KINDS[kind].reach(strip.i), wet = kind === "films", um = filmUmOf(strip.i);
  const told = { "aria-label": `${nameOf(strip.i)}: ${wet ? "wet film of a coat" : "coats"}`, "aria-valuemin": least, "aria-valuemax": most, "aria-valuenow": wet ? Math.round(um) : strip.coats };
  for (const [name, value] of Object.entries(told)) node.setAttribute(name, String(value));
  node.setAttribute("aria-valuetext", `${wet ? wetWords(strip) : coats(strip.coats)}, ${film(strip.um)} dry here`);
  node.classList.toggle("wet", wet);
  setText(node.firstChild, wet ? filmOne(um) : `${strip.coats}×`);
}
