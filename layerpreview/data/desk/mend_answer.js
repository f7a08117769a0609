/* What a touch-up comes to: the verdict first, the place before and after at one spot, what to mix, the work. */

import { choice, el, press, setText } from "./dom.js";
import { capital, length, ranged } from "./say.js";

const LABELS = { untouched: "Untouched", before: "Sanded", after: "Repaired", difference: "Difference" };
const MARKS = { "not visible": "○", "may be seen": "◐", visible: "●" };
const HAND = { flat: "a perfect hand", good: "a practised hand", hurried: "a hurried hand" };

function details(name, ...inside) { return el("details", {}, el("summary", {}, name), el("div", {}, inside)); }

/* The light and view under which it shows most. */
function worst(result) { return result.steps.reduce((a, b) => (b.de00.likely > a.de00.likely ? b : a)); }

/* How many of ten attempts hide it, where it shows most. */
function tries(result) {
  const ten = Math.round(10 * worst(result).hidden);
  const count = ten === 0 ? "none" : ten === 10 ? "all" : `about ${ten}`;
  return `Of ten attempts by ${HAND[result.hand]}, ${count} would go unseen.`;
}

/* What stands below the verdict. */
function because(result) {
  if (result.depth === "clear") return "No dye is taken off; only the clear's gloss and edge can show.";
  const flat = result.verdict.seen === "visible" && worst(result).verdict !== "visible";
  return `Feather ${length(result.feather_mm)}. ${flat ? "The flat spot stands out of the base's texture, however well its colour agrees." : tries(result)}`;
}

function verdict(result) {
  const { seen, short } = result.verdict, clear = result.depth === "clear";
  return el("div", { class: `verdict ${clear ? "" : seen.replaceAll(" ", "-")}` },
    el("h2", {}, clear ? null : el("i", { "aria-hidden": "true" }, MARKS[seen]), short),
    el("span", {}, because(result)));
}

/* One picture, cut to the place or whole; pressed it swaps untouched and repaired at the same spot. */
function swapped(result) {
  const [wide, high] = result.picture_px, [left, top, right, bottom] = result.close_up_px;
  const images = Object.fromEntries(Object.keys(LABELS).map((name) => [name, el("img", { src: result.pictures[name], alt: "" })]));
  const label = el("span", { class: "on" }), frame = el("button", { type: "button", class: "swap" }, Object.values(images), label);
  let shown = "after", near = true;
  const buttons = Object.keys(LABELS).map((name) => choice(LABELS[name], name === shown, () => show(name)));
  const whole = choice("Whole face", false, () => { near = !near; show(shown); });
  function show(name) {
    shown = name;
    const [x, y, w, h] = near ? [left, top, right - left, bottom - top] : [0, 0, wide, high];
    frame.style.setProperty("aspect-ratio", `${w} / ${h}`);
    frame.style.setProperty("--shape", String(w / h));
    for (const [key, image] of Object.entries(images)) {
      image.style.setProperty("width", `${100 * wide / w}%`);
      image.style.setProperty("left", `${-100 * x / w}%`);
      image.style.setProperty("top", `${-100 * y / h}%`);
      image.classList.toggle("shown", key === name);
    }
    Object.keys(LABELS).forEach((key, i) => press(buttons[i], key === name));
    press(whole, !near);
    setText(label, LABELS[name]);
    frame.setAttribute("aria-label", `${near ? "The place" : "The whole face"}: ${LABELS[name].toLowerCase()}. Press to swap untouched and repaired.`);
  }
  frame.addEventListener("click", () => show(shown === "after" ? "untouched" : "after"));
  show(shown);
  return el("figure", { class: "seeing" }, frame, el("div", { class: "row" }, el("div", { class: "join" }, buttons), whole),
    el("figcaption", { class: "soft" }, "Press the picture: untouched and repaired change places. Red is the damage, white where the feather ends; the difference is 8 times enhanced. Computed, approximate."));
}

/* Where to look first, in words. */
function most(result) {
  const { light, view, de00 } = worst(result);
  return el("li", {}, `It shows most under ${(result.light_words[light] || light).replace(/ \(.*\)$/, "").toLowerCase()}, ${view}: CIEDE2000 ${de00.likely.toFixed(1)} (${de00.low.toFixed(1)} to ${de00.high.toFixed(1)}).`);
}

function mixes(result) {
  return el("section", { class: "small-mixes", "aria-label": "What to mix" }, el("h3", {}, "What to mix"), el("p", { class: "soft" }, "What was kept of the job's own mixes comes first: it is the same dye. Approximate; try each on a card."),
    el("ul", {}, result.mixes.map((mix) => el("li", {}, el("b", {}, `${capital(mix.title)}: make ${mix.make_mL} mL`), el("ul", {}, mix.parts.map((part) => el("li", {}, part))),
      el("small", { class: "n" }, `It takes ${ranged(mix.needed_mL, "mL")}`), mix.warnings.map((line) => el("small", {}, line))))));
}

function work(result) {
  return details("The work, step by step", el("ol", { class: "steps" }, result.work.map((step) => el("li", {}, el("b", {}, `${step.number}. ${capital(step.what)}`), el("ul", {}, step.todo.map((line) => el("li", {}, line))),
    step.cautions.length ? el("small", {}, `Mind: ${step.cautions.join(", ")}`) : null))));
}

function cautions(result) {
  return details("Cautions: dust, vapour, skin, waste", el("ul", { class: "cautions" }, result.cautions.map((one) => el("li", {}, el("b", {}, one.title), el("p", {}, one.text)))));
}

function files(result) {
  const where = result.folder === "." ? "the job's folder" : `the job's folder, below ${result.folder}`;
  return el("p", { class: "soft" }, `Pictures and words lie in ${where}${result.aside ? ` (${result.aside})` : ""}.`);
}

export function answer(result) {
  return el("div", { class: "repair" }, verdict(result), swapped(result),
    el("div", { class: "says" }, el("ul", { class: "advice" }, result.advice.map((line) => el("li", {}, line)), result.depth === "clear" ? null : most(result)), mixes(result), work(result), cautions(result),
      details("Under every light", el("img", { src: result.pictures.sheet, alt: "The place sanded, repaired and the difference, under every light", loading: "lazy" })), files(result)));
}
