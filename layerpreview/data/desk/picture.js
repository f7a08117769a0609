/*
 * The lifelike picture of the part: loaded, kept up with what is pulled, drawn; frames from the desk where there is no WebGL 2,
 * or where the part has more bands than the graphics chip takes.
 */

import { byId, el, redraw, setText } from "./dom.js";
import { about, amountOf, ask, coatsOf, filmUmOf, on, pictureStands, say, stateOf, store, widthOf } from "./store.js";
import { twinFactors } from "./judging.js";

const RELOAD_MS = 150, MOST_PIXELS = 4_000_000, FRAME_MS = 150;
/* How far the picture zooms. */
export const FURTHEST = 0.5, CLOSEST = 8;
const TOO_MUCH = "This part has more bands than the picture here can take: the desk draws it, some seconds after each change.";
export const STANDING = { yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0 };

const canvas = byId("picture"), frame = byId("frame");
/* `live`: null while frames are shown; `shown`: the state that the picture was loaded for; `pose`: how it is looked at. */
export const picture = { live: null, shown: null, pose: { ...STANDING }, data: null, drawn: 0 };

/* What draws here, null where nothing can. */
let solid = null;
let wanted = false, reloading = null, asked = "";

export function begin() {
  try {
    picture.live = solid = new Live.Solid(canvas, { onLost: () => say("band"), onBack: () => reload(0) });
  } catch (error) {
    byFrames(true);
  }
  frame.addEventListener("load", () => {
    if (picture.live) return;
    delete document.body.dataset.waiting;
    say("picture");
  });
  new ResizeObserver(() => { size(); draw(); }).observe(byId("view"));
  on("state", () => reload(picture.shown ? RELOAD_MS : 0));
  on("pull judged", draw);
  on("look", (changes) => {
    if ("around" in changes || ("light" in changes && !(picture.data && picture.data.lights[changes.light]))) reload(0);
    draw();
  });
}

/* Whether the desk's own frames are shown. */
function byFrames(on, why = null) {
  picture.live = on ? null : solid;
  if (on) document.body.dataset.frames = "1"; else delete document.body.dataset.frames;
  canvas.hidden = on;
  frame.hidden = !on;
  redraw(byId("drawn-by"), why && el("p", {}, why));
  if (!on) return;
  picture.data = null;
  pictureStands();
}

function size() {
  const box = byId("view").getBoundingClientRect();
  let ratio = window.devicePixelRatio || 1;
  ratio = Math.min(ratio, Math.sqrt(MOST_PIXELS / Math.max(1, box.width * box.height)));
  for (const one of [canvas, byId("beside")]) {
    const width = Math.max(1, Math.round(box.width * ratio)), height = Math.max(1, Math.round(box.height * ratio));
    if (one.width !== width || one.height !== height) Object.assign(one, { width, height });
  }
}

/* Ask for the picture of the job as it is; what is there stays until it has come. */
export function reload(delay) {
  clearTimeout(reloading);
  reloading = setTimeout(load, delay);
}

export function bytesOf(hash) {
  return fetch(`/texture/${hash}`).then((answer) => {
    if (!answer.ok) throw new Error("no longer kept");
    return answer.arrayBuffer();
  });
}

function query(more) {
  const { around, light } = store.look;
  return new URLSearchParams({ around, ...(light ? { light } : {}), ...more }).toString();
}

async function load() {
  const state = store.state;
  if (!state) return;
  if (!state.coats) return setText(byId("seen"), "no picture while the file cannot be read");
  if (!solid) return loadFrame();
  const wantedNow = asked = `${state.version} ${query({})}`;
  const [status, told] = await ask(`/api/picture?${query({})}`);
  if (asked !== wantedNow || status === 0) return;
  const known = stateOf(told.version);
  if (status === 200 && !known) return reload(RELOAD_MS);
  if (status !== 200) {
    pictureStands();
    setText(byId("seen"), (told.problems || [])[0] || "the picture cannot be made");
    return;
  }
  try {
    await solid.load(told, bytesOf);
  } catch (error) {
    pictureStands();
    if (asked !== wantedNow) return;
    if (!(error instanceof Live.TooMuch)) return reload(1000);
    byFrames(true, TOO_MUCH);
    return loadFrame();
  }
  if (asked !== wantedNow) return;
  if (!picture.live) byFrames(false);
  picture.data = told;
  picture.shown = known;
  delete document.body.dataset.waiting;
  draw();
  say("picture");
}

let frameTimer = null;

function loadFrame() {
  clearTimeout(frameTimer);
  frameTimer = setTimeout(() => {
    const width = Math.round(byId("view").getBoundingClientRect().width), { yaw, pitch } = picture.pose;
    const turned = yaw || pitch ? { yaw: yaw.toFixed(1), pitch: pitch.toFixed(1) } : {};
    frame.src = about(`/frame.jpg?${query({ width, version: store.state.version, ...turned })}`);
    picture.shown = store.state;
  }, FRAME_MS);
}

/* How the job as it is pulled now differs from the one that the picture was loaded for. */
export function pulledNow(film = store.look.film) {
  const now = store.state, shown = picture.shown;
  const same = shown && now.coats.length === shown.coats.length && now.coats.every((coat, i) => coat.mix === shown.coats[i].mix && coat.kind === shown.coats[i].kind);
  if (!same) return { factors: null, coats: null, widths: null, strengths: null };
  const factors = now.coats.map((coat, i) => {
    const own = shown.coats[i], film_um = coat.film_um;
    return (coatsOf(i) * filmUmOf(i) * film_um[film] / film_um.likely) / (own.coats * own.film_um.likely);
  });
  const widths = {}, strengths = {};
  now.coats.forEach((coat, i) => coat.bursts.forEach((_, k) => { widths[`${i},${k}`] = widthOf(i, k); }));
  for (const mix of now.mixes) {
    const before = shown.mixes.find((one) => one.name === mix.name);
    if (!before) continue;
    strengths[mix.name] = Object.fromEntries(mix.dyes.map((dye) => {
      const was = before.dyes.find((one) => one.name === dye.name);
      return [dye.name, was ? amountOf(mix, dye) / was.likely : 1];
    }));
  }
  return { factors, coats: now.coats.map((_, i) => coatsOf(i)), widths, strengths };
}

/* The job as it is pulled now, each coat with the build that it has in a twin. */
function twinned(builds) {
  const planned = pulledNow("likely");
  return { ...planned, factors: planned.factors && planned.factors.map((factor, i) => factor * builds[i]) };
}

export function draw() {
  if (wanted) return;
  wanted = true;
  requestAnimationFrame(() => {
    wanted = false;
    if (!picture.live || !picture.data || !picture.shown) {
      if (!picture.live) say("drawn");
      return;
    }
    const { after, light, beside } = store.look;
    const twins = beside === "twins" ? twinFactors() : null;
    const compare = twins ? { ...twinned(twins.deep), divider: 0.5 } : null;
    const own = twins ? twinned(twins.pale) : pulledNow();
    picture.live.set({ ...picture.pose, ...own, upTo: after, light: light || store.state.lights[0], compare, overlay: store.look.overlay });
    // The first picture is sharp: so is what takes its place.
    if (frame.hidden) picture.live.draw(); else picture.live.finish();
    picture.drawn += 1;
    pictureStands(picture.shown.shown);
    say("drawn");
  });
}

/* Look at it another way; what is not said stays. */
export function turn(changes) {
  const pose = Object.assign(picture.pose, changes);
  pose.pitch = Math.min(80, Math.max(-80, pose.pitch));
  pose.zoom = Math.min(CLOSEST, Math.max(FURTHEST, pose.zoom));
  pose.yaw = ((pose.yaw + 540) % 360) - 180;
  if (picture.live) draw(); else loadFrame();
}

export function asItStands() { turn(STANDING); }

/* Straight on: faces turned flat to the eye, as colour is judged. */
export function straightOn() {
  const pose = picture.data ? picture.data.solids[0].pose : { yaw_deg: 0, pitch_deg: 0 };
  turn({ ...STANDING, yaw: -pose.yaw_deg, pitch: -pose.pitch_deg });
}
