/* A touch-up as it is being said: where the damage is, how it is repaired, and the task that shows what comes of it. */

import { tell } from "./dom.js";
import * as background from "./background.js";

/* `places`: touches round the damage on one face; `own`: a feather of one's own [mm] instead of the smallest that hides it. */
export const mend = { faces: [], places: [], depth: "dye", texture: "again", hand: "good", own: null, years: "0", task: null, work: null, of: null };
export const LEAST = 3;
let changed = () => {}, ended = () => {};

/* `call` is called with each change, `over` with a task that has ended while the page was open. */
export function begin(call, over) { [changed, ended] = [call, over]; }

export function face() { return mend.faces.find((one) => mend.places.length && one.name === mend.places[0].face) || mend.faces[0]; }

export function set(values) {
  Object.assign(mend, values);
  changed();
}

export function add(at) {
  if (!at) return;
  const [first] = mend.places;
  if (first && first.face !== at.face) return tell(`The damage lies on ${first.face}; begin again to give it on ${at.face}`);
  set({ places: [...mend.places, { face: at.face, x_mm: round(at.x_mm), y_mm: round(at.y_mm) }] });
}

export function takeBack(i) { set({ places: mend.places.filter((_, k) => k !== i) }); }

function round(mm) { return Math.round(10 * mm) / 10; }

function years() { return Number(String(mend.years).replace(",", ".").trim() || 0); }

function body() {
  const { places, depth, texture, hand, own } = mend, many = years();
  return { places, depth, texture, hand, feather_mm: own, years: Number.isFinite(many) ? many : String(mend.years) };
}

/* Whether what is shown is what is said now. */
export function stands() { return JSON.stringify(body()) === mend.of; }

export function send(force) {
  const mine = {};
  set({ task: { state: "waiting", words: "" }, work: mine, of: JSON.stringify(body()) });
  mine.work = background.begin("/api/mend", { ...body(), ...(force ? { force: true } : {}) }, (task) => heard(task, mine));
}

export function stop() { if (mend.work && mend.work.work) mend.work.work.stop(); }

function heard(task, mine) {
  if (mend.work !== mine) return;
  const ran = background.running(mend.task);
  set({ task });
  if (ran && !background.running(task)) ended(task);
}

/* A touch-up that was begun before the page was loaded. */
export const pickedUp = {
  "touch-up": (task, work) => {
    const { places, depth, texture, hand, feather_mm: own, years: many } = task.asked, mine = { work };
    set({ places, depth, texture, hand, own, years: String(many || 0), task, work: mine });
    mend.of = JSON.stringify(body());
    return (told) => heard(told, mine);
  },
};
