/* To judge by: how pale and how deep it may come out, and what this screen cannot show. */

import { el } from "./dom.js";
import { ask, on, say, store } from "./store.js";
import * as background from "./background.js";
import { command } from "./bench.js";
import { capital } from "./say.js";

const REST_MS = 600;
/* `twins`: the task as it was last told; `gamut`: of version and light. */
const now = { twins: null, gamut: null };
let work = null, timer = null;

export function begin() {
  on("state look", () => {
    clearTimeout(timer);
    if (store.state && store.state.coats && (store.look.bench === "judge" || store.look.beside === "twins")) timer = setTimeout(fetchThem, REST_MS);
  });
}

function fetchThem() {
  if (store.look.beside === "twins" && now.asked !== store.state.version) fetchTwins();
  if (store.look.bench === "judge") fetchGamut();
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
