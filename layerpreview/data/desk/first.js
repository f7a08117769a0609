/* The first picture: what this page drew of the job when it was open before, there at once until the live one stands. */

import { byId } from "./dom.js";
import { picture, STANDING } from "./picture.js";
import { ask, on, pulling, store } from "./store.js";

const REST_MS = 2500, PATIENCE_MS = 400, MOST_PX = 1600, QUALITY = 0.9, SAME_SHAPE = 0.01;
const frame = byId("frame");
let timer = null, sent = "";

/* Show it where there is one. Resolved once it is seen: making ready for the live one keeps a page busy for a while. */
export function begin() {
  on("drawn", () => {
    if (!picture.live) return;
    frame.hidden = true;
    clearTimeout(timer);
    timer = setTimeout(() => requestAnimationFrame(keep), REST_MS);
  });
  new ResizeObserver(show).observe(byId("view"));
  return new Promise((done) => {
    const come = () => { show(); requestAnimationFrame(() => setTimeout(done)); };
    if (frame.complete) come(); else frame.onload = frame.onerror = come;
    setTimeout(done, PATIENCE_MS);
  });
}

/* A view of another shape would show the part at another place; it changes until the page is laid out. */
function show() {
  if (!picture.drawn && !document.body.dataset.frames) frame.hidden = !fits(frame.naturalWidth, frame.naturalHeight);
}

function fits(width, height) {
  const box = byId("view").getBoundingClientRect();
  return Math.abs(width * box.height / (height * box.width) - 1) < SAME_SHAPE;
}

/* Hand the picture to the desk where it shows the job as it stands, as it is looked at first. */
function keep() {
  const canvas = byId("picture");
  if (!picture.live.data || !fits(canvas.width, canvas.height)) return;
  const { look, state } = store, { version, files } = picture.data;
  const asFirst = look.after === null && !look.light && look.around === "window" && look.film === "likely" && !look.beside && !pulling();
  const stands = Object.entries(STANDING).every(([name, value]) => picture.pose[name] === value);
  const mine = `${version} ${files}`;
  if (!asFirst || !stands || state !== picture.shown || version !== state.version || mine === sent || document.hidden) return;
  sent = mine;
  picture.live.finish();
  const scale = Math.min(1, MOST_PX / canvas.width), copy = document.createElement("canvas");
  Object.assign(copy, { width: Math.round(canvas.width * scale), height: Math.round(canvas.height * scale) });
  copy.getContext("2d").drawImage(canvas, 0, 0, copy.width, copy.height);
  ask("/api/first", { version, files, picture: copy.toDataURL("image/jpeg", QUALITY) });
}
