/* A colour picked from a photo: the photo large, a ring on it that a finger, a mouse or the arrow keys move. */

import { byId, choice, el, press, redraw } from "./dom.js";
import { ask } from "./store.js";
import * as background from "./background.js";
import { capital } from "./say.js";

const STEP = 0.01, REST_MS = 120, LEAST_PX = 12;
/* How wide the spot is, as a share of the photo's shorter side. */
const SPOTS = [["Small", 0.008], ["Middling", 0.02], ["Large", 0.06]];

/* Show the photo and wait; gives the colour that was chosen, {problems}, or null where it was left. */
export async function pick(file) {
  const photo = await background.hand("photo", file);
  if (photo.problems) return photo;
  return new Promise((settle) => sheetFor(photo, settle));
}

function sheetFor(photo, settle) {
  const sheet = byId("sheet"), at = { x: 0.5, y: 0.5, size: 0.02 };
  let found = null, chosen = null, timer = null;
  const ring = el("i", { class: "ring" }), dab = el("i", { class: "dab" }), words = el("p", { role: "status" }, "Touch the place that has the colour you mean.");
  const image = el("img", { src: `/begin/photo.jpg?id=${photo.id}`, alt: "", draggable: "false" });
  const place = el("div", { class: "picking", tabindex: "0", role: "application", "aria-label": "The photo. Touch the place that is meant, or move the ring with the arrow keys." }, image, ring);
  const use = el("button", { type: "button", class: "main", disabled: true, on: { click: () => { chosen = found; sheet.close(); } } }, "Look for this colour");
  const to = (x, y) => {
    Object.assign(at, { x: Math.min(1, Math.max(0, x)), y: Math.min(1, Math.max(0, y)) });
    const box = image.getBoundingClientRect();
    ring.style.setProperty("--wide", `${Math.max(LEAST_PX, at.size * Math.min(box.width, box.height))}px`);
    ring.style.left = `${100 * at.x}%`;
    ring.style.top = `${100 * at.y}%`;
    clearTimeout(timer);
    timer = setTimeout(read, REST_MS);
  };
  const read = async () => {
    const { x, y, size } = at, [status, told] = await ask("/api/colour-of", { photo: photo.id, x, y, size });
    if (x !== at.x || y !== at.y || size !== at.size) return;
    found = status === 200 ? told : null;
    use.disabled = !found;
    dab.style.background = found ? found.colour : "none";
    words.textContent = found ? `${capital(found.words)}.` : (told.problems || []).join(" ");
  };
  const under = (event) => {
    const box = image.getBoundingClientRect();
    to((event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
  };
  let down = false;
  place.addEventListener("pointerdown", (event) => { down = true; place.setPointerCapture(event.pointerId); under(event); });
  place.addEventListener("pointermove", (event) => { if (down) under(event); });
  for (const end of ["pointerup", "pointercancel"]) place.addEventListener(end, () => { down = false; });
  place.addEventListener("keydown", (event) => {
    const [dx, dy] = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key] || [0, 0];
    if (!dx && !dy) return;
    event.preventDefault();
    const by = event.shiftKey ? 5 * STEP : STEP;
    to(at.x + dx * by, at.y + dy * by);
  });
  const spots = SPOTS.map(([word, size]) => choice(word, size === at.size, () => {
    at.size = size;
    spots.forEach((one, k) => press(one, SPOTS[k][1] === size));
    to(at.x, at.y);
  }));
  image.addEventListener("load", () => to(at.x, at.y));
  sheet.addEventListener("close", () => { clearTimeout(timer); settle(chosen); }, { once: true });
  redraw(sheet, el("h2", { id: "sheet-name" }, "Which place of it?"), place, el("div", { class: "row picked" }, dab, words),
    el("fieldset", {}, el("legend", {}, "A spot of it"), el("div", { class: "join" }, spots)),
    el("div", { class: "row" }, use, el("button", { type: "button", on: { click: () => sheet.close() } }, "Back")));
  sheet.showModal();
  place.focus();
  to(0.5, 0.5);
}
