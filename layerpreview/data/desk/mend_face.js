/* The flat picture of a face: touched round the damage with a finger, a mouse or keys. */

import { el, svg } from "./dom.js";
import { add, face, mend, takeBack } from "./mend_said.js";

const ZOOMS = [1, 2, 4], STEP_SHARE = 0.02;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/* Gives the element and what draws it anew. */
export function faceView() {
  const image = el("img", { alt: "", draggable: "false" }), lines = svg("svg", { class: "lines", "aria-hidden": "true", focusable: "false", preserveAspectRatio: "none" });
  const cross = el("i", { class: "cross", hidden: true }), sheet = el("div", { class: "flat" }, image, lines, cross);
  const view = el("div", { class: "face-view", tabindex: 0, role: "application", "aria-roledescription": "picture to touch" }, sheet);
  const closer = el("button", { type: "button", on: { click: () => zoom(1) } }, "Closer"), further = el("button", { type: "button", on: { click: () => zoom(-1) } }, "Further");
  image.addEventListener("load", () => view.removeAttribute("data-waiting"));
  let level = 0, at = [0.5, 0.5], shown = null;

  function zoom(way) {
    const before = ZOOMS[level], middle = [(view.scrollLeft + view.clientWidth / 2) / before, (view.scrollTop + view.clientHeight / 2) / before];
    level = Math.min(ZOOMS.length - 1, Math.max(0, level + way));
    const { places } = mend, last = places[places.length - 1];
    draw();
    const now = ZOOMS[level], to = last ? [last.x_mm / shown.width_mm * sheet.clientWidth, last.y_mm / shown.height_mm * sheet.clientHeight] : [middle[0] * now, middle[1] * now];
    view.scrollTo(to[0] - view.clientWidth / 2, to[1] - view.clientHeight / 2);
  }

  function put([x, y]) { add({ face: shown.name, x_mm: x * shown.width_mm, y_mm: y * shown.height_mm }); }

  sheet.addEventListener("click", (event) => {
    const box = sheet.getBoundingClientRect();
    at = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    put(at);
  });
  view.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const way = STEPS[event.key], step = STEP_SHARE / (event.shiftKey ? 4 : 1) / ZOOMS[level];
    if (way) at = at.map((value, k) => Math.min(1, Math.max(0, value + way[k] * step * (k ? shown.width_mm / shown.height_mm : 1))));
    else if (event.key === "Enter" || event.key === " ") put(at);
    else if (event.key === "Backspace" && mend.places.length) takeBack(mend.places.length - 1);
    else if (event.key === "+" || event.key === "=") zoom(1);
    else if (event.key === "-") zoom(-1);
    else return;
    event.preventDefault();
    draw();
    cross.hidden = false;
    cross.scrollIntoView({ block: "nearest", inline: "nearest" });
  });
  view.addEventListener("blur", () => { cross.hidden = true; });

  function draw(wanted = shown) {
    shown = wanted || face();
    if (!shown) return;
    const { width_mm: wide, height_mm: high } = shown, points = mend.places.filter((one) => one.face === shown.name);
    if (image.getAttribute("src") !== shown.picture) {
      view.setAttribute("data-waiting", "the picture is being drawn");
      image.src = shown.picture;
    }
    view.setAttribute("aria-label", `${shown.name}, flat. Arrow keys move a cross, Enter sets a place round the damage, Backspace takes the last back, plus and minus bring it closer.`);
    view.style.setProperty("--shape", String(wide / high));
    view.dataset.level = String(level);
    sheet.style.setProperty("width", `${100 * ZOOMS[level]}%`);
    sheet.style.setProperty("aspect-ratio", `${wide} / ${high}`);
    lines.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    const d = points.length > 1 ? `M${points.map((one) => `${one.x_mm} ${one.y_mm}`).join("L")}${points.length > 2 ? "Z" : ""}` : "";
    lines.replaceChildren(...(d ? ["cased", "thread"].map((name) => svg("path", { class: name, d })) : []));
    for (const old of sheet.querySelectorAll("i.place")) old.remove();
    points.forEach((one, k) => sheet.append(el("i", { class: "place", style: { left: `${100 * one.x_mm / wide}%`, top: `${100 * one.y_mm / high}%` } }, el("span", {}, String(k + 1)))));
    cross.style.setProperty("left", `${100 * at[0]}%`);
    cross.style.setProperty("top", `${100 * at[1]}%`);
    further.disabled = level === 0;
    closer.disabled = level === ZOOMS.length - 1;
  }

  return { node: el("div", { class: "face-part" }, view, el("div", { class: "row" }, closer, further)), draw };
}
