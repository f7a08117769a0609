/* The hand on the picture: dragged it turns, pinched it comes closer, touched it shows the film there. Keys do the same. */

import { byId } from "./dom.js";
import { asItStands, picture, turn } from "./picture.js";
import { look, store } from "./store.js";

const DEG_PER_PX = 0.45, MOVED_PX = 5, KEY_DEG = 5, FINE_DEG = 1, STEP_ZOOM = 1.25;
/* By how much a pixel of the wheel zooms; two fingers on a touch pad come as a wheel with Ctrl, in small steps. */
const WHEEL = 0.0015, PINCH_WHEEL = 0.01;
const fingers = new Map();
let moved = false, spread = null;

/* `touched(place)` is called with what lies under a touch: {face, x_mm, y_mm}, or null beside the part. */
export function begin(touched) {
  const view = byId("view");
  view.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    view.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    moved = fingers.size > 1 || Boolean(event.target.closest("button"));   // a mark that lies there is no place of the part
    spread = null;
  });
  view.addEventListener("pointermove", (event) => {
    const from = fingers.get(event.pointerId);
    if (!from) return;
    const dx = event.clientX - from[0], dy = event.clientY - from[1];
    if (fingers.size > 1) return pinch(event);
    if (!moved && Math.hypot(dx, dy) < MOVED_PX) return;
    moved = true;
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (event.shiftKey) slide(dx, dy); else turn({ yaw: picture.pose.yaw + dx * DEG_PER_PX, pitch: picture.pose.pitch + dy * DEG_PER_PX });
  });
  for (const end of ["pointerup", "pointercancel"]) {
    view.addEventListener(end, (event) => {
      if (!fingers.delete(event.pointerId)) return;
      spread = null;
      if (end === "pointerup" && !moved) touched(under(event.clientX, event.clientY));
    });
  }
  view.addEventListener("wheel", (event) => {
    event.preventDefault();
    turn({ zoom: picture.pose.zoom * Math.exp(-event.deltaY * (event.ctrlKey ? PINCH_WHEEL : WHEEL)) });
  }, { passive: false });
  byId("picture").addEventListener("keydown", keyed);
  byId("frame").tabIndex = 0;
  byId("frame").addEventListener("keydown", keyed);
}

export function under(x, y) { return picture.live && picture.data ? picture.live.pick(x, y) : null; }

function slide(dx, dy) {
  const box = byId("view").getBoundingClientRect();
  turn({ x: picture.pose.x + dx / box.width, y: picture.pose.y + dy / box.height });
}

function pinch(event) {
  const before = [...fingers.values()];
  fingers.set(event.pointerId, [event.clientX, event.clientY]);
  const after = [...fingers.values()];
  const apart = (two) => Math.hypot(two[0][0] - two[1][0], two[0][1] - two[1][1]);
  const middle = (two) => [(two[0][0] + two[1][0]) / 2, (two[0][1] + two[1][1]) / 2];
  spread = spread || apart(before);
  turn({ zoom: picture.pose.zoom * apart(after) / Math.max(1, spread) });
  spread = apart(after);
  const [a, b] = [middle(before), middle(after)];
  slide(b[0] - a[0], b[1] - a[1]);
}

function keyed(event) {
  const step = event.shiftKey ? FINE_DEG : KEY_DEG, { yaw, pitch, zoom } = picture.pose;
  const deeds = {
    ArrowLeft: { yaw: yaw - step }, ArrowRight: { yaw: yaw + step }, ArrowUp: { pitch: pitch - step }, ArrowDown: { pitch: pitch + step },
    "+": { zoom: zoom * STEP_ZOOM }, "=": { zoom: zoom * STEP_ZOOM }, "-": { zoom: zoom / STEP_ZOOM },
  };
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === "Home" || event.key === "0") asItStands();
  else if (event.key === "Escape" && store.look.after !== null) look({ after: null });
  else if (deeds[event.key]) turn(deeds[event.key]);
  else return;
  event.preventDefault();
}
