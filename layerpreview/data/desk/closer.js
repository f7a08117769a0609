/* Closer to this: a colour typed or picked from a photo, what comes near it over this base, one touch to take it. */

import { byId, choice, el, redraw, tell, typed } from "./dom.js";
import { ask, on, step, store } from "./store.js";
import * as background from "./background.js";
import { command, go } from "./bench.js";
import { pick } from "./pick.js";
import { capital, coats, filmOne, short, volume } from "./say.js";

const READINGS = { mean: "The mean colour", hue: "Same hue and depth" };
const BOUNDS = { mean: "seen from afar it is this colour", hue: "over the base's own darkness" };
/* What is looked for; `typed` as a person wrote it. */
const wanted = { typed: "", reading: "mean", coat: null, dyes: null };
let task = null, work = null, taken = null, again = null, trouble = [];

/* A search that was begun before the page was loaded goes on here. */
export const pickedUp = { reach: (told, own) => {
  const { target, reading, coat, dyes } = told.asked;
  Object.assign(wanted, { typed: typeof target === "string" ? target : "", reading: reading || "mean", coat: coat ?? null, dyes: dyes || null });
  task = { ...told, result: null };
  work = own;
  if (background.running(told)) go("closer");
  return heard(own);
} };

export function begin() {
  on("state look", draw);
  for (const kind of ["dragover", "drop"]) document.addEventListener(kind, dropped);
}

/* A photo dropped on the page: its colour is meant. */
function dropped(event) {
  const file = [...(event.dataTransfer ? event.dataTransfer.items : [])].find((item) => item.kind === "file");
  if (!file || byId("sheet").open) return;
  event.preventDefault();
  if (event.type !== "drop") return;
  go("closer");
  fromPhoto(event.dataTransfer.files[0]);
}

async function fromPhoto(file) {
  trouble = [];
  const found = await pick(file);
  if (found && found.problems) trouble = found.problems;
  else if (found) {
    wanted.typed = found.colour;
    search();
  }
  draw();
}

function search() {
  if (!wanted.typed) return draw();
  if (work) work.over = true;
  const { typed: target, reading, coat, dyes } = wanted;
  task = { state: "waiting", words: "beginning", problems: [], result: task && task.result && task.result.wanted.typed === target ? { ...task.result, alternatives: [] } : null };
  taken = again = null;
  const mine = work = background.begin("/api/reach", { target, reading, coat, dyes }, (told) => heard(mine)(told));
  draw();
}

/* What is done whenever a search tells something, while it is the one that is shown. */
function heard(mine) {
  return (told) => {
    if (mine !== work) return;
    task = told;
    if (told.command) command("closer", told.command);
    if (!background.running(told) && told.state !== "failed") tell(told.result ? told.result.verdict : "stopped");
    draw();
  };
}

/* Its number in what was found last: the very one, or the same coats and film with strengths that were made nearer; -1. */
function found(one, all) {
  const strengths = JSON.stringify(one.strengths), same = all.filter((other) => other.coats === one.coats && other.film_um === one.film_um);
  return all.indexOf(same.find((other) => JSON.stringify(other.strengths) === strengths) || same[0]);
}

/* Press one to have it; while others are still found the looking ends first, so that it is this one that is written. */
async function take(one) {
  const before = again === one.index;
  again = null;
  if (background.running(task)) await work.stop();
  const index = found(one, task.result.alternatives);
  if (index >= 0 && await step("/api/take", { task: task.id, index, ...(before ? { force: true } : {}) })) {
    taken = store.state.version;
    task.taken = index;
    tell(`taken: ${one.words}`);
  } else again = index;
  draw();
}

function textured() {
  if (task && task.result) return task.result.textured;
  return store.state.faces.some((face) => face.base_kind === "metal");
}

function lab(values) { return `L* ${Math.round(values[0])}, a* ${Math.round(values[1])}, b* ${Math.round(values[2])}`; }

/* Both ways to mean it over a base that is itself dark and light, each with its figures. */
function readings() {
  if (!textured()) return null;
  const known = task && task.result ? task.result.readings : null;
  const one = (key) => choice("", wanted.reading === key, () => { wanted.reading = key; search(); }, { "data-key": `reading ${key}` });
  return el("div", { class: "readings", role: "group", "aria-label": "How it is meant over a textured base" }, Object.keys(READINGS).map((key) => {
    const button = one(key), says = known ? known[key] : null;
    button.append(...[says ? el("i", { class: "dab", style: { background: says.colour } }) : null, el("span", {}, el("b", {}, READINGS[key]), el("small", { class: "n" }, says ? lab(says.lab) : BOUNDS[key], says && says.base ? `; the base is L* ${Math.round(says.base.lab[0])}` : ""))].filter(Boolean));
    return button;
  }));
}

function goal() {
  const own = typed("The colour: #c88a3a, or L, a, b as 62, 12, 48", wanted.typed, (text) => { wanted.typed = text.trim(); search(); }, { "data-key": "wanted", placeholder: "#c88a3a or 62, 12, 48", size: 16, maxlength: 60 });
  own.addEventListener("keydown", (event) => { if (event.key === "Enter" && own.value.trim() === wanted.typed) search(); });
  const input = el("input", { type: "file", accept: "image/*", hidden: true, on: { change: () => input.files[0] && fromPhoto(input.files[0]) } });
  const photo = el("button", { type: "button", "data-key": "photo", on: { click: () => input.click() } }, "From a photo");
  return el("div", { class: "row goal" }, own, photo, input, forCoat(), withDyes());
}

/* Which coat it is for, where there are several of dye. */
function forCoat() {
  const dyed = store.state.coats.filter((coat) => coat.kind === "dye");
  if (dyed.length < 2) return null;
  const now = wanted.coat ?? dyed[0].index;
  const select = el("select", { "aria-label": "Which coat it is for", "data-key": "for coat" }, dyed.map((coat) => el("option", { value: coat.index, selected: coat.index === now }, `for ${coat.index + 1} ${coat.name}`)));
  select.addEventListener("change", () => { wanted.coat = Number(select.value); search(); });
  return select;
}

function withDyes() {
  const select = el("select", { "aria-label": "With which dyes", "data-key": "with dyes" }, [["", "this job's dyes"], ["library", "generic dyes"]].map(([value, words]) => el("option", { value, selected: (wanted.dyes ? "library" : "") === value }, words)));
  select.addEventListener("change", () => { wanted.dyes = select.value ? ["library"] : null; search(); });
  return select;
}

function stands() {
  if (!task) return el("p", { class: "soft" }, trouble.length ? null : "Type a colour, or drop a photo here and touch the place in it that you mean.");
  const near = task.result && task.result.alternatives.length ? task.result.alternatives[0] : null;
  if (background.running(task)) {
    return el("div", { class: "done" }, el("p", {}, near ? [`Nearest so far: `, el("b", { class: "n" }, `${short(near.de00)} away`), "; still looking. Press one to take it."] : `${capital(task.words)} …`),
      el("button", { type: "button", "data-key": "stop", on: { click: () => work.stop() } }, "Stop looking"));
  }
  if (task.state === "failed") return el("p", { role: "alert" }, task.problems.map(capital).join(" "));
  const moved = task.version !== store.state.version && taken !== store.state.version;
  return [
    el("p", {}, task.state === "stopped" ? near ? `Stopped; the nearest until then is ${short(near.de00)} away.` : "Stopped before anything was found." : `${task.result.verdict}. Press one to take it.`),
    moved ? el("p", { class: "done" }, el("span", {}, "The job has changed since."), el("button", { type: "button", "data-key": "look again", on: { click: search } }, "Look again")) : null,
    again === null ? null : el("p", {}, again < 0 ? "A nearer one was found that moment; press the one you mean." : "The scheme was changed elsewhere meanwhile; press it again to take it all the same."),
  ];
}

/* Once all are found, first those that are best at something: nearest, fewest coats, thinnest film, least stripes. */
function inOrder({ alternatives, settled }) {
  return settled ? [...alternatives].sort((a, b) => b.best_at.length - a.best_at.length) : alternatives;
}

function recipe(one) {
  const { result } = task, at = result.readings[result.reading], held = taken === store.state.version && task.taken === one.index;
  const strengths = one.strengths.map((part) => `${part.dye} ${part.amount}`).join(", ");
  const film = `${coats(one.coats)} of ${filmOne(one.film_um)}${one.film_word ? `, ${one.film_word}` : ""}`;
  const best = one.best_at.length ? one.best_at.join(", ") : result.alternatives[0] === one ? "closest" : "";
  const button = choice("", held, () => take(one), { "data-key": `recipe ${one.index}` });
  button.append(
    el("span", { class: "twin", role: "img", "aria-label": "wanted beside this" }, el("i", { style: { background: at.colour } }), el("i", { style: { background: one.colour } })),
    el("span", {}, el("b", {}, capital(held ? `${one.words}, taken` : one.words)), best ? el("small", {}, best) : null,
      el("small", { class: "n" }, `${one.de00.toFixed(1)} away, stripes ${one.stripes_de00.toFixed(1)}, ${one.stripes}`),
      el("small", { class: "n" }, `${film}: ${strengths}`), one.volume_mL ? el("small", { class: "n" }, `${volume(one.volume_mL)} to spray`) : null));
  return el("li", {}, button);
}

function draw() {
  if (!store.state || !store.state.coats || store.look.bench !== "closer") return;
  const result = task ? task.result : null, settled = result && result.settled && task.state === "done";
  redraw(byId("closer"), goal(), readings(), trouble.map((line) => el("p", {}, capital(line))), stands(),
    result && result.alternatives.length ? el("ol", { class: "recipes", "aria-label": "What comes near it" }, inOrder(result).map(recipe)) : null,
    result && result.alternatives.length ? el("p", { class: "soft" }, "How far away: below 0.8 few see a difference side by side, above 1.8 most do.") : null,
    settled && result.advice.length ? el("ul", { class: "cautions", "aria-label": "What helps" }, result.advice.map((line) => el("li", {}, capital(line)))) : null,
    settled && result.notes.length ? el("ul", { class: "soft" }, result.notes.map((line) => el("li", {}, capital(line)))) : null);
}
