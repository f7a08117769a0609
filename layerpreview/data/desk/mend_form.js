/* The few choices of a touch-up, for the desk and the phone. */

import { choice, el, setText } from "./dom.js";
import { length } from "./say.js";
import * as background from "./background.js";
import { face, LEAST, mend, send, set, stands, stop, takeBack } from "./mend_said.js";

const LEAST_MM = 10, MOST_MM = 60, USUAL_MM = 30, STEP_MM = 5;
const DEPTHS = [["clear", "The clear"], ["dye", "The dye"], ["base", "The base"]];
const IN_DEPTH = { clear: "into the clear, no colour taken off", dye: "through clear and dye, down to the base", base: "through clear, dye and base; the base is laid anew" };
const INTO_WOOD = "through clear and dye into the wood, no deeper than its colour";
const TEXTURES = [["again", "Made again"], ["flat", "Left flat"]], HANDS = [["good", "Practised"], ["hurried", "In a hurry"]];

function group(name, ...inside) { return el("fieldset", {}, el("legend", {}, name), inside); }

function join(key, pairs) {
  return el("div", { class: "join" }, pairs.map(([value, word]) => choice(word, mend[key] === value, () => set({ [key]: value }), { "data-key": `${key} ${value}` })));
}

/* How large what is touched is, from edge to edge. */
function size() {
  const [wide, high] = ["x_mm", "y_mm"].map((axis) => mend.places.map((one) => one[axis])).map((all) => Math.max(...all) - Math.min(...all));
  return `about ${length(wide)} by ${length(high)}`;
}

/* What to touch, or what was. */
export function touchedWords() {
  const { places } = mend;
  if (!places.length) return "Touch the part round the damage, place after place: three or more.";
  if (places.length < LEAST) return `On ${places[0].face}: ${places.length} of at least ${LEAST} places. Touch on.`;
  return `On ${places[0].face}: ${size()}. Touch on, or see the repair.`;
}

/* Each place to be taken back, and a new beginning. */
export function corners() {
  if (!mend.places.length) return [];
  return [
    ...mend.places.map((one, i) => el("button", { type: "button", class: "corner", "data-key": `corner ${i}`, "aria-label": `Take back place ${i + 1}`, on: { click: () => takeBack(i) } }, `${i + 1} ✕`)),
    el("button", { type: "button", "data-key": "again", on: { click: () => set({ places: [] }) } }, "Begin again"),
  ];
}

function feather() {
  const { own } = mend, mm = own ?? USUAL_MM, says = el("output", { class: "n", for: "feather" }, length(mm));
  const slider = el("input", { type: "range", id: "feather", min: LEAST_MM, max: MOST_MM, step: STEP_MM, value: mm, "data-key": "feather", "aria-label": "Width of the feather", "aria-valuetext": length(mm) });
  slider.addEventListener("input", () => { setText(says, length(Number(slider.value))); slider.setAttribute("aria-valuetext", length(Number(slider.value))); });
  slider.addEventListener("change", () => set({ own: Number(slider.value) }));
  return group("Feather", el("div", { class: "row" }, el("div", { class: "join" },
    choice("Smallest that hides it", own === null, () => set({ own: null }), { "data-key": "smallest" }),
    choice("My own", own !== null, () => set({ own: own ?? USUAL_MM }), { "data-key": "own" })),
  own === null ? null : el("label", { class: "pulled" }, slider, says)));
}

function years() {
  const input = el("input", { type: "text", inputmode: "decimal", size: 4, class: "n", value: mend.years, "data-key": "years", "aria-label": "Years in a room, 0 for new", autocomplete: "off", maxlength: 6 });
  input.addEventListener("input", () => { input.dataset.typing = "1"; });
  input.addEventListener("change", () => { delete input.dataset.typing; set({ years: input.value }); });
  return group("Years in a room", el("div", { class: "row" }, input, el("span", { class: "soft" }, "0 is new")));
}

export function choices() {
  const wood = face() && face().base_kind === "wood", laid = mend.depth === "base" && !wood;
  return [
    group("Sanded through", join("depth", DEPTHS), el("p", { class: "soft" }, wood && mend.depth === "base" ? INTO_WOOD : IN_DEPTH[mend.depth])),
    laid ? group("Texture of the base", join("texture", TEXTURES)) : null,
    group("Hand", join("hand", HANDS)),
    mend.depth === "clear" ? null : feather(),
    years(),
  ];
}

/* The one button, how far it is, and why not. */
export function deed() {
  const { task, places } = mend, running = background.running(task) && task;
  if (running) return el("p", { class: "done" }, el("span", { role: "status" }, `${task.words || "beginning"} …`.replace(/^./, (sign) => sign.toUpperCase())), el("button", { type: "button", "data-key": "stop", on: { click: stop } }, "Stop"));
  const failed = task && task.state === "failed" && stands() ? task.problems : [];
  const there = failed.some((line) => line.includes("already there"));
  return [
    failed.length ? el("p", { class: "wrong", role: "alert" }, failed.map((line) => line.charAt(0).toUpperCase() + line.slice(1)).join(" ")) : null,
    there ? el("button", { type: "button", "data-key": "force", on: { click: () => send(true) } }, "Write over it") : null,
    el("button", { type: "button", class: "main see", "data-key": "see", disabled: places.length < LEAST, on: { click: () => send(false) } }, "See the repair"),
  ];
}
