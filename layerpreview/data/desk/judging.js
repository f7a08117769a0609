/* To judge by: how pale and how deep it may come out, how evenly a hand lays it, and what this screen cannot show. */

import { choice, el } from "./dom.js";
import { ask, on, say, store } from "./store.js";
import * as background from "./background.js";
import { command } from "./bench.js";
import { capital } from "./say.js";

const REST_MS = 600, FILM = "film", SHOWN = "shown";
/* `twins`: the task as it was last told; `even`: what is known of the hand that is chosen; `gamut`: of version and light. */
const now = { twins: null, hand: null, even: null, map: FILM, gamut: null };
let work = null, timer = null;

export function begin() {
  on("state look", () => {
    clearTimeout(timer);
    if (store.state && store.state.coats && (store.look.bench === "judge" || store.look.beside === "twins")) timer = setTimeout(fetchThem, REST_MS);
  });
}

function fetchThem() {
  if (store.look.beside === "twins" && now.asked !== store.state.version) fetchTwins();
  if (store.look.bench !== "judge") return;
  fetchGamut();
  if (now.hand) fetchEven();
}

function fetchTwins() {
  now.asked = store.state.version;
  if (work) work.over = true;
  const mine = work = background.begin("/api/twins", {}, (task) => {
    if (mine !== work) return;
    now.twins = { ...task, result: task.result || (now.twins && now.twins.result) };
    if (task.command) command("judge", task.command);
    say("judged");
  });
}

/* The builds of the pale and the deep twin against what is planned, or null while they are not known. */
export function twinFactors() {
  const result = now.twins && now.twins.result;
  return result && result.pale.factors.length === store.state.coats.length ? { pale: result.pale.factors, deep: result.deep.factors } : null;
}

async function fetchGamut() {
  const { version, lights } = store.state, light = store.look.light || lights[0], key = `${version} ${light}`;
  if (now.gamut && now.gamut.key === key) return;
  now.gamut = { key, words: now.gamut ? now.gamut.words : "" };
  const [status, told] = await ask(`/api/gamut?light=${encodeURIComponent(light)}`);
  if (now.gamut.key !== key) return;
  now.gamut.words = status === 200 ? told.words : (told.problems || []).join(" ");
  say("judged");
}

async function fetchEven() {
  const { hand } = now, { version } = store.state;
  if (now.even && now.even.hand === hand && now.even.version === version) return;
  const [status, told] = await ask(`/api/evenness?hand=${hand}`);
  if (hand !== now.hand) return;
  now.even = status === 200 ? told : { hand, version, problems: told.problems };
  say("judged");
}

/* Which hand it is judged for, or null for none. */
function choose(hand) {
  now.hand = hand;
  if (hand) fetchEven();
  say("judged");
}

export function hands() {
  const names = [["flat", "Steady"], ["good", "Practised"], ["hurried", "Hurried"]];
  const known = now.hand && now.even && now.even.hand === now.hand ? now.even : null;
  return el("fieldset", {}, el("legend", {}, "How evenly a hand lays it"),
    el("div", { class: "join" }, names.map(([name, word]) => choice(word, now.hand === name, () => choose(now.hand === name ? null : name), { "data-key": `hand ${name}` }))),
    now.hand && !known ? el("p", { class: "soft" }, "It is being sprayed, in numbers …") : null, known ? maps(known) : null);
}

function maps(known) {
  if (known.problems) return el("p", {}, known.problems.map(capital).join(" "));
  const face = known.faces.find((one) => store.look.spot && one.name === store.look.spot.face) || known.faces[0], film = now.map === FILM;
  const percent = (share) => `${Math.round(100 * Math.abs(share - 1))} % ${share < 1 ? "less" : "more"}`;
  const ends = film ? [percent(known.low), "as meant", percent(known.high)] : ["the same", `${(known.most_de00 / 2).toFixed(1)}`, `${known.most_de00.toFixed(1)} away or more`];
  const pick = (map, word) => choice(word, now.map === map, () => { now.map = map; say("judged"); }, { "data-key": `map ${map}` });
  return el("div", { class: "evenness" }, drawn(face, film ? face.film : face.shown, `${capital(face.name)}: ${film ? "the dye against what is meant" : "how far its colour is from the mean"}`),
    el("div", {}, el("p", {}, known.words, "."), el("div", { class: "join" }, pick(FILM, "Film"), pick(SHOWN, "As it is seen")),
      el("p", { class: "key n" }, el("i", { class: "ramp" }), ends.map((word) => el("span", {}, word))),
      el("p", { class: "soft" }, film ? "Dark is less dye, light is more. " : "Dark is the mean colour, light is away from it (CIEDE2000). ", known.notes[known.notes.length - 1])));
}

/* A map of one byte a point, 0 off the part, as a grey picture. */
function drawn(face, coded, words) {
  const bytes = Uint8Array.from(atob(coded), (sign) => sign.charCodeAt(0));
  const canvas = el("canvas", { width: face.cols, height: face.rows, role: "img", "aria-label": words }), image = new ImageData(face.cols, face.rows);
  bytes.forEach((code, k) => image.data.set([code, code, code, code ? 255 : 0], 4 * k));
  canvas.getContext("2d").putImageData(image, 0, 0);
  return canvas;
}

export function twins() {
  if (store.look.beside !== "twins") return null;
  const task = now.twins, result = task && task.result;
  if (!result) return el("p", { class: "soft" }, task && task.state === "failed" ? task.problems.map(capital).join(" ") : "Pale and deep: it is tried many times …");
  const one = (twin, name) => el("li", {}, el("i", { class: "dab", style: { background: twin.colour } }), el("span", {}, el("b", {}, name), el("small", { class: "n" }, twin.de00 ? `${twin.de00.toFixed(1)} away; ${twin.words}` : twin.words)));
  return el("section", { class: "twins", "aria-label": "Pale and deep" },
    el("ol", { class: "row" }, one(result.pale, "Left: pale"), one(result.likely, "Likely"), one(result.deep, "Right: deep")),
    el("p", { class: "soft" }, [result.words, ...result.notes.slice(0, 1)].map((line) => line.trim()).join(" ")));
}

export function screenWords() {
  return now.gamut && now.gamut.words ? el("p", { class: "soft n" }, `${capital(now.gamut.words)}.`) : null;
}
