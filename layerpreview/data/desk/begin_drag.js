/* What lies on the photo is dragged by mouse, finger or arrow keys; what a finger covers is shown in the loupe. */
import { loupe } from "./begin_loupe.js";

const REST_MS = 700;

/* `scale`: pixels of the photo in one of the screen; `move` gets how far to the right and down, in pixels of the photo, and gives where that is. */
export function dragged(node, { scale, begin, move, end }) {
  let last = null, keyed = 0;
  node.addEventListener("pointerdown", (event) => {
    node.setPointerCapture(event.pointerId);
    last = [event.clientX, event.clientY];
    node.classList.add("held");
    begin();
  });
  node.addEventListener("pointermove", (event) => {
    if (!last) return;
    const right = (event.clientX - last[0]) * scale(), down = (event.clientY - last[1]) * scale();
    last = [event.clientX, event.clientY];
    loupe(move(right, down), event.clientX);
  });
  const let_go = () => {
    if (!last) return;
    last = null;
    node.classList.remove("held");
    loupe(null);
    end();
  };
  node.addEventListener("pointerup", let_go);
  node.addEventListener("pointercancel", let_go);
  node.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way) return;
    event.preventDefault();
    if (!keyed) begin();
    clearTimeout(keyed);
    const far = (event.shiftKey ? 10 : 1) * Math.max(1, scale());
    loupe(move(way[0] * far, way[1] * far), node.getBoundingClientRect().left);
    keyed = setTimeout(() => { keyed = 0; loupe(null); end(); }, REST_MS);
  });
}
