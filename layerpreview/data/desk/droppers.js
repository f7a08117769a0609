/* Droppers: how strong each dye of a mix is. Dragged, by keys, step by step, or typed as "16 mL/L". */

import { byId, el, svg, typed } from "./dom.js";
import { amountOf, letGo, pull, store } from "./store.js";
import { readAmount, short } from "./say.js";

const TOP = 30, HIGH = 84, STEP = 1.1, KEYS_REST_MS = 450;
let dragged = null, timer = null;

function bounds(mix, dye) { return [dye.likely * mix.weakest, dye.likely * mix.strongest]; }

/* How full a dropper is drawn: half for what the mix has now, by halves and doubles. */
function fillOf(mix, dye, amount) {
  const [low, high] = bounds(mix, dye);
  return Math.min(1, Math.max(0, Math.log(amount / low) / Math.log(high / low)));
}

function column(fill) {
  const y = TOP + (1 - fill) * HIGH;
  return `M16 ${y.toFixed(1)}H32V118L26 138V146H22V138L16 118Z`;
}

export function words(amount, unit) { return `${short(amount, 3)} ${unit}`; }

export function dropper(mix, dye) {
  const key = `${mix.name},${dye.name}`, known = store.state.dyes.find((one) => one.name === dye.name);
  const amount = amountOf(mix, dye), generic = dye.source === "library";
  const glass = el("div", {
    class: "dropper-drawing", role: "slider", tabindex: "0", "data-key": `dropper ${dye.name}`, "data-dropper": key, "aria-orientation": "vertical", "aria-label": `${dye.name}${generic ? ", generic" : ""}: strength in ${mix.name}`,
  }, svg("svg", { viewBox: "0 0 48 150", "aria-hidden": "true", focusable: "false" },
    svg("path", { d: "M17 4h14a5 5 0 0 1 5 5v9a5 5 0 0 1-5 5H17a5 5 0 0 1-5-5V9a5 5 0 0 1 5-5Z", fill: "#3a3a3c" }),
    svg("path", { class: "fill", d: column(0.5), fill: known ? known.swatch : "#777" }),
    svg("path", { d: "M16 23V118L22 138V146H26V138L32 118V23", fill: "none", stroke: "#1c1c1e", "stroke-width": "2" }),
    [0, 1, 2, 3, 4].map((k) => svg("path", { d: `M32 ${30 + 21 * k}h-${k % 2 ? 8 : 5}`, stroke: "#1c1c1e", "stroke-width": "1.4" }))));
  glass.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    glass.focus({ preventScroll: true });
    glass.setPointerCapture(event.pointerId);
    dragged = { key, y: event.clientY, from: amountOf(mix, dye) };
  });
  glass.addEventListener("pointermove", (event) => {
    if (!dragged || dragged.key !== key) return;
    const px = glass.getBoundingClientRect().height * HIGH / 150, by = (dragged.y - event.clientY) / px;
    to(mix, dye, dragged.from * (mix.strongest / mix.weakest) ** by);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    glass.addEventListener(end, () => {
      if (!dragged || dragged.key !== key) return;
      dragged = null;
      write(mix, dye);
    });
  }
  glass.addEventListener("keydown", (event) => keys(event, mix, dye));
  const own = typed(`${dye.name}: strength`, words(amount, dye.unit), (text) => {
    const found = readAmount(text, dye.unit);
    if (!found) return false;
    set(mix, dye, `${found.amount} ${found.unit}`);
    return true;
  }, { "data-key": `amount ${dye.name}`, "data-amount": key, size: 8 });
  const step = (by, sign, say) => el("button", {
    type: "button", "aria-label": `${say} ${dye.name}`, "data-key": `${say} ${dye.name}`, on: { click: () => { to(mix, dye, amountOf(mix, dye) * by); later(mix, dye); } },
  }, sign);
  const made = el("div", { class: "dropper" }, glass, el("p", {}, el("b", {}, dye.name), generic ? el("small", { title: dye.source_words }, " generic") : null),
    own, el("div", { class: "pair" }, step(1 / STEP, "−", "less"), step(STEP, "+", "more")));
  show(made, mix, dye);
  return made;
}

function show(made, mix, dye) {
  const amount = amountOf(mix, dye), glass = made.querySelector(".dropper-drawing"), [low, high] = bounds(mix, dye), own = made.querySelector("input");
  glass.querySelector(".fill").setAttribute("d", column(fillOf(mix, dye, amount)));
  glass.setAttribute("aria-valuemin", short(low, 3));
  glass.setAttribute("aria-valuemax", short(high, 3));
  glass.setAttribute("aria-valuenow", short(amount, 3));
  glass.setAttribute("aria-valuetext", words(amount, dye.unit));
  if (!own.dataset.typing) own.value = words(amount, dye.unit);
}

/* While it is pulled the droppers stay the same elements and only say what is. */
export function refreshDroppers() {
  for (const made of byId("mix").querySelectorAll(".dropper")) {
    const key = made.querySelector(".dropper-drawing").dataset.dropper;
    for (const mix of store.state.mixes) for (const dye of mix.dyes) if (key === `${mix.name},${dye.name}`) show(made, mix, dye);
  }
}

function to(mix, dye, amount) {
  const [low, high] = bounds(mix, dye);
  pull("amounts", `${mix.name},${dye.name}`, Number(Math.min(high, Math.max(low, amount)).toPrecision(3)));
}

function keys(event, mix, dye) {
  const now = amountOf(mix, dye), [low, high] = bounds(mix, dye);
  const steps = { ArrowUp: now * STEP, ArrowRight: now * STEP, ArrowDown: now / STEP, ArrowLeft: now / STEP, PageUp: now * 1.5, PageDown: now / 1.5, Home: low, End: high };
  if (!(event.key in steps) || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  to(mix, dye, steps[event.key]);
  later(mix, dye);
}

function later(mix, dye) {
  clearTimeout(timer);
  timer = setTimeout(() => write(mix, dye), KEYS_REST_MS);
}

function write(mix, dye) {
  const amount = store.pulled.amounts[`${mix.name},${dye.name}`];
  if (amount !== undefined) set(mix, dye, words(amount, dye.unit), amount === dye.likely);
}

function set(mix, dye, text, same = false) {
  const at = ["mix", mix.name, "dyes", dye.name];
  letGo("amounts", `${mix.name},${dye.name}`, `${mix.name}: ${text} of ${dye.name}`, same ? [] : [{ do: "set", at, to: text }]);
}

