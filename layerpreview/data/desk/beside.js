/* A kept version beside the part as it is now: a second picture that turns with the first. */

import { byId, tell } from "./dom.js";
import { bytesOf, picture } from "./picture.js";
import { ask, look, on, store } from "./store.js";

let second = null, loaded = null;

export function begin() {
  on("look", (changes) => { if ("beside" in changes || "around" in changes) change(); });
  on("drawn", draw);
}

function wanted() {
  const { beside } = store.look;
  return beside && beside !== "twins" ? beside : null;
}

async function change() {
  const id = wanted(), canvas = byId("beside");
  document.body.dataset.beside = id ? "version" : store.look.beside || "";
  canvas.hidden = !id;
  if (!id || !picture.live) return;
  const key = `${id} ${store.look.around}`;
  if (loaded === key) return draw();
  second = second || new Live.Solid(canvas, {});
  const [status, told] = await ask(`/api/picture?${new URLSearchParams({ of: id, around: store.look.around })}`);
  if (status !== 200 || wanted() !== id) return;
  try {
    await second.load(told, bytesOf);
  } catch (error) {
    look({ beside: null });
    return tell("The kept version cannot be drawn beside this one here.");
  }
  loaded = key;
  draw();
}

function draw() {
  if (!wanted() || !second || !loaded) return;
  second.set({ ...picture.pose, light: store.look.light || store.state.lights[0] });
  second.draw();
}
