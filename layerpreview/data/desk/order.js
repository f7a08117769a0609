/* The order of spraying: a strip dragged past another, or Alt with the arrow keys; touched without a drag it opens. */

import { tell } from "./dom.js";
import { edit, look, store } from "./store.js";
import { coats } from "./say.js";

const HOLD_MS = 250, MOVED_PX = 8;

export function words(strip) {
  if (strip.i === "clear") return "Clear: open it";
  if (strip.i < 0) return `${strip.name}: what it is`;
  return `${strip.name}, ${coats(strip.coats)}: open its mix. Alt with up or down changes the order.`;
}

/* Move a coat so that it is sprayed in the place of another. */
export async function spray(i, to) {
  const { coats: all } = store.state;
  if (to < 0 || to >= all.length || to === i) return false;
  const name = all[i].name, open = store.look.open;
  const good = await edit(`${name} is sprayed ${to < i ? "earlier" : "later"}`, [{ do: "move", at: ["coat", i], to }]);
  if (good) {
    tell(`${name} is now coat ${to + 1} of ${all.length}`);
    look({ ...(open === i ? { open: to } : {}), after: null });
    const moved = document.querySelector(`[data-key="coat ${to}"] .take`);
    if (moved && document.activeElement && document.activeElement.classList.contains("take")) moved.focus({ preventScroll: true });
  }
  return good;
}

/* The coat that a strip at this height of the screen is, or null. */
function coatAt(y) {
  for (const node of document.querySelectorAll("#strips .take")) {
    const box = node.getBoundingClientRect(), key = node.parentElement.dataset.key;
    if (y >= box.top && y < box.bottom && key.startsWith("coat ")) return Number(key.slice(5));
  }
  return null;
}

export function begin(take, i, open) {
  let start = null, held = false, timer = null, over = null;
  const mark = (to) => {
    for (const node of document.querySelectorAll("#strips .take")) {
      const key = node.parentElement.dataset.key;
      node.classList.toggle("there", to !== null && to !== i && key === `coat ${to}`);
      node.classList.toggle("held", to !== null && key === `coat ${i}`);
    }
  };
  const cease = () => {
    clearTimeout(timer);
    start = over = null;
    held = false;
    mark(null);
  };
  const hold = () => {
    held = true;
    mark(i);
  };
  take.addEventListener("pointerdown", (event) => {
    if (event.button > 0 || typeof i !== "number" || i < 0) return;
    start = [event.clientX, event.clientY];
    if (event.pointerType === "mouse") take.setPointerCapture(event.pointerId);
    else timer = setTimeout(hold, HOLD_MS);
  });
  take.addEventListener("pointermove", (event) => {
    if (!start) return;
    const far = Math.abs(event.clientY - start[1]) > MOVED_PX;
    if (!held && far && event.pointerType === "mouse") hold();
    if (!held) return;
    over = coatAt(event.clientY);
    mark(over === null ? i : over);
  });
  /* A finger that holds a strip moves it and not the page. */
  take.addEventListener("touchmove", (event) => { if (held) event.preventDefault(); }, { passive: false });
  /* A slow touch that went nowhere is a touch. */
  take.addEventListener("pointerup", () => {
    const to = held ? over : null, moved = held && over !== null;
    cease();
    if (to !== null && to !== i) spray(i, to);
    if (moved) take.dataset.moved = "1";
  });
  take.addEventListener("pointercancel", cease);
  take.addEventListener("contextmenu", (event) => { if (held) event.preventDefault(); });
  take.addEventListener("click", () => {
    if (take.dataset.moved) { delete take.dataset.moved; return; }
    open();
  });
  take.addEventListener("keydown", (event) => {
    if (!event.altKey || (event.key !== "ArrowUp" && event.key !== "ArrowDown") || typeof i !== "number" || i < 0) return;
    event.preventDefault();
    spray(i, i + (event.key === "ArrowUp" ? 1 : -1));
  });
}
