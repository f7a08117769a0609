/*
 * How evenly a hand lays the part: figures and small maps on the bench, and laid over the picture itself, as it comes out or as a
 * plain map of where it shows. Asked for only while it is shown; the desk makes it anew only where what it rests on changed.
 */

import { byId, choice, el, redraw } from "./dom.js";
import { ask, look, on, say, store } from "./store.js";
import { bytesOf, picture } from "./picture.js";
import { capital } from "./say.js";

const REST_MS = 300, FILM = "film", SHOWN = "shown";
const HANDS = [["flat", "Steady", "a steady hand"], ["good", "Practised", "a practised hand"], ["hurried", "Hurried", "a hurried hand"]];
/* `even`: what is known of a hand; `of`: the version that it was asked for; `map`: what the small map shows. */
const now = { even: null, of: null, asked: "", map: FILM, laid: null };
let timer = null;

export function begin() {
  on("state look picture", () => {
    bar();
    clearTimeout(timer);
    if (wanted()) timer = setTimeout(fetchIt, now.even && now.even.hand === store.look.hand ? REST_MS : 0);
  });
  on("judged", bar);
  byId("planned").addEventListener("click", () => over(null));
}

function wanted() {
  const { hand, bench, overlay } = store.look;
  return Boolean(hand && store.state && store.state.coats) && (bench === "judge" || overlay !== null);
}

async function fetchIt() {
  const { hand } = store.look, { version } = store.state, own = now.even && now.even.hand === hand ? now.even : null, key = `${hand} ${version}`;
  if (!wanted() || now.asked === key) return;
  if (own && now.of === version) return lay();
  now.asked = key;
  const [status, told] = await ask(`/api/evenness?hand=${hand}${own && own.sign ? `&known=${own.sign}` : ""}`);
  if (now.asked !== key) return;
  now.asked = "";
  if (status === 200 && !told.same) now.even = told;
  else if (status !== 200) now.even = { hand, problems: told.problems };
  now.of = version;
  lay();
  say("judged");
}

/* Hand it to the picture, once it is to be laid over it. */
async function lay() {
  const { even } = now, { live } = picture;
  if (!store.look.overlay || !live || !even || even.problems || (now.laid === even && live.laid)) return;
  now.laid = even;
  try {
    await live.lay({ steps: even.steps, faces: even.faces.map((face) => face.laid) }, bytesOf);
  } catch (error) {
    // The desk no longer keeps its textures: it is asked for once more.
    now.laid = now.even = null;
    timer = setTimeout(fetchIt, 1000);
  }
  say("judged");
}

/* Whether it stands for the job as it is now. */
function known() { return now.even && now.even.hand === store.look.hand ? now.even : null; }

function current() { return Boolean(known()) && now.of === store.state.version; }

function handWords() { return HANDS.find(([name]) => name === store.look.hand)[2]; }

/* Over the picture, while it does not show the part as it is planned. */
export function overWords() {
  const { overlay } = store.look;
  if (!overlay || !picture.live) return "";
  if (!current() || !picture.live.isLaid()) return `Being sprayed by ${handWords()} …`;
  return overlay === SHOWN ? `A map, not paint: where ${handWords()} shows` : `Not as planned: as ${handWords()} lays it`;
}

function over(overlay) { look({ overlay }); }

/* The way back on the picture itself, and below it what lies over it. */
function bar() {
  const { overlay } = store.look, even = known();
  byId("planned").hidden = !overlay || !picture.live;
  if (byId("planned").hidden || !even) return redraw(byId("laid"));
  const words = even.problems ? even.problems.map(capital).join(" ") : `${even.words}.`;
  redraw(byId("laid"), el("div", { class: "laid" }, overlay === SHOWN && even.steps ? legend(even.steps) : el("p", { class: "n" }, words)));
}

/* The steps of how visible, each on its own grey of the map and in its figures. */
function legend(steps) {
  const grey = (share) => `rgb(${[1, 1, 1].map(() => Math.round(255 * share)).join(", ")})`;
  const limits = steps.map(({ from_de00: from }, k) => (k === 0 ? `dE00 under ${steps[1].from_de00}` : k + 1 < steps.length ? `${from} to ${steps[k + 1].from_de00}` : `over ${from}`));
  return el("ul", { class: "visible n", "aria-label": "How visible, as CIEDE2000 to the mean colour" },
    steps.map(({ words }, k) => el("li", { style: { background: grey(LiveLaid.STEPS[k]), color: LiveLaid.STEPS[k] < 0.5 ? "#fff" : "#161617" } }, el("b", {}, capital(words)), limits[k])),
    el("li", { class: "striped" }, el("b", {}, "Not judged"), "opaque, no dye"));
}

/* On the bench: which hand, and what the picture shows of it. */
export function hands() {
  const { hand, overlay } = store.look, even = known();
  const choose = (name) => look(hand === name ? { hand: null, overlay: null } : { hand: name });
  const show = (name, word) => choice(word, overlay === name, () => over(name), { "data-key": `over ${name}`, disabled: !picture.live });
  return el("fieldset", {}, el("legend", {}, "How evenly a hand lays it"),
    el("div", { class: "join" }, HANDS.map(([name, word]) => choice(word, hand === name, () => choose(name), { "data-key": `hand ${name}` }))),
    hand ? el("div", { class: "row over" }, el("span", { class: "soft" }, "On the picture"), el("div", { class: "join" }, show(null, "as planned"), show("laid", "as it lays"), show(SHOWN, "where it shows"))) : null,
    hand && !even ? el("p", { class: "soft" }, "It is being sprayed, in numbers …") : null, hand && even ? maps(even) : null);
}

function maps(even) {
  if (even.problems) return el("p", {}, even.problems.map(capital).join(" "));
  const face = even.faces.find((one) => store.look.spot && one.name === store.look.spot.face) || even.faces[0], film = now.map === FILM;
  const percent = (share) => `${Math.round(100 * Math.abs(share - 1))} % ${share < 1 ? "less" : "more"}`;
  const ends = film ? [percent(even.low), "as meant", percent(even.high)] : ["the same", `${(even.most_de00 / 2).toFixed(1)}`, `${even.most_de00.toFixed(1)} away or more`];
  const pick = (map, word) => choice(word, now.map === map, () => { now.map = map; say("judged"); }, { "data-key": `map ${map}` });
  return el("div", { class: "evenness" }, drawn(face, film ? face.film : face.shown, `${capital(face.name)}: ${film ? "the dye against what is meant" : "how far its colour is from the mean"}`),
    el("div", {}, el("p", {}, even.words, "."), current() ? null : el("p", { class: "soft" }, "As it was before the last change; it is being sprayed again …"),
      el("div", { class: "join" }, pick(FILM, "Film"), pick(SHOWN, "As it is seen")),
      el("p", { class: "key n" }, el("i", { class: "ramp" }), ends.map((word) => el("span", {}, word))),
      el("p", { class: "soft" }, film ? "Dark is less dye, light is more. " : "Dark is the mean colour, light is away from it (CIEDE2000). ", even.notes[even.notes.length - 1])));
}

/* A map of one byte a point, 0 off the part, as a grey picture. */
function drawn(face, coded, words) {
  const bytes = Uint8Array.from(atob(coded), (sign) => sign.charCodeAt(0));
  const canvas = el("canvas", { width: face.cols, height: face.rows, role: "img", "aria-label": words }), image = new ImageData(face.cols, face.rows);
  bytes.forEach((code, k) => image.data.set([code, code, code, code ? 255 : 0], 4 * k));
  canvas.getContext("2d").putImageData(image, 0, 0);
  return canvas;
}
