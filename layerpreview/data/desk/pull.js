/* The tag on a strip's upper edge: pulled up or down it changes the number of coats, by hand, finger or key. */

import { el, setText, tell } from "./dom.js";
import { coats, film } from "./say.js";
import { letGo, pull, store } from "./store.js";
import { reach } from "./strips.js";

export const PX_PER_COAT = 28;
let dragged = null, keyTimer = null, keyed = null;
const KEYS_REST_MS = 450;

export function active() { return dragged !== null; }

function nameOf(i) { return i === "clear" ? "clear" : store.state.coats[i].name; }

function countOf(i) { return i === "clear" ? store.state.clear.coats : store.state.coats[i].coats; }

export function tag(i) {
  const node = el("div", { class: "pull", role: "slider", tabindex: "0", "aria-orientation": "vertical" }, el("span", { class: "n" }));
  node.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || dragged) return;
    event.preventDefault();
    node.focus({ preventScroll: true });
    node.setPointerCapture(event.pointerId);
    dragged = { i, y: event.clientY, from: store.pulled.coats[i] ?? countOf(i) };
  });
  node.addEventListener("pointermove", (event) => {
    if (dragged && dragged.i === i) moveTo(i, dragged.from + Math.round((dragged.y - event.clientY) / PX_PER_COAT));
  });
  node.addEventListener("pointerup", () => end(i));
  node.addEventListener("pointercancel", () => end(i));
  node.addEventListener("keydown", (event) => key(event, i));
  node.addEventListener("blur", () => { if (keyed === i) settle(); });
  return node;
}

/* A change of the number of coats, as it is seen at once; past the last the film word says how to go on. */
function moveTo(i, count) {
  const { least, most } = reach(i), within = Math.min(most, Math.max(least, count));
  if (count > most) tell(`${coats(most)} is as far as this goes; take a wetter film below`);
  if (within !== (store.pulled.coats[i] ?? countOf(i))) pull("coats", i, within);
}

function end(i) {
  if (!dragged || dragged.i !== i) return;
  dragged = null;
  write(i);
}

/* Write the number that was pulled; the same number as before is no change. */
export async function write(i) {
  const count = store.pulled.coats[i];
  if (count === undefined) return;
  const at = i === "clear" ? ["clear", "coats"] : ["coat", i, "coats"];
  await letGo("coats", i, `${nameOf(i)}: ${coats(count)}`, count === countOf(i) ? [] : [{ do: "set", at, to: count }]);
}

/* Set the number at once, as a chip of the ladder does. */
export function setCoats(i, count) {
  pull("coats", i, count);
  return write(i);
}

function key(event, i) {
  const { least, most } = reach(i), now = store.pulled.coats[i] ?? countOf(i);
  const steps = { ArrowUp: now + 1, ArrowRight: now + 1, ArrowDown: now - 1, ArrowLeft: now - 1, PageUp: now + 2, PageDown: now - 2, Home: least, End: most };
  if (!(event.key in steps) || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  moveTo(i, steps[event.key]);
  keyed = i;
  clearTimeout(keyTimer);
  keyTimer = setTimeout(settle, KEYS_REST_MS);
}

/* Keys are written once they rest, so that five presses are one change. */
function settle() {
  clearTimeout(keyTimer);
  const i = keyed;
  keyed = null;
  if (i !== null) write(i);
}

export function change(node, strip) {
  const { least, most } = reach(strip.i);
  const told = { "aria-label": `${nameOf(strip.i)}: coats`, "aria-valuemin": least, "aria-valuemax": most, "aria-valuenow": strip.coats };
  for (const [name, value] of Object.entries(told)) node.setAttribute(name, String(value));
  node.setAttribute("aria-valuetext", `${coats(strip.coats)}, ${film(strip.um)} dry here`);
  setText(node.firstChild, `${strip.coats}×`);
}
