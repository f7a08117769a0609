/* Giving away: board, mix sheet, pictures and more, written into the job's folder in the background. */

import { byId, el, redraw, tell } from "./dom.js";
import { on, store } from "./store.js";
import * as background from "./background.js";
import { command, go } from "./bench.js";
import { capital } from "./say.js";

const THINGS = [
  ["board", "Client's board", "one page that the client opens and chooses from"],
  ["sheet", "Mix sheet", "what to mix and how to spray it, for the booth"],
  ["pictures", "Pictures", "as it will look, and flat to judge colour by"],
  ["turn", "The part turning", "a small moving picture of the part"],
  ["record", "Record", "one sealed file with all that a remake needs in years"],
  ["templates", "Templates", "true size on paper, for masks and bursts"],
];
const NOW_S = 60, THERE_ALREADY = "already there";
/* By name: the task as it was last told, and what stops it. */
const made = {};

export function begin() { on("state look", draw); }

function options(what) {
  const { around, light } = store.look;
  if (what === "pictures") return { around };
  return what === "turn" ? { around, light: light || store.state.lights[0] } : {};
}

function make(what, name, force) {
  const one = made[what] = { task: { state: "waiting", words: "" } };
  one.work = background.begin("/api/give", { what, ...options(what), ...(force ? { force: true } : {}) }, heard(what, name, one));
  draw();
}

/* What was begun to be made before the page was loaded, and what came of it. */
export const pickedUp = Object.fromEntries(THINGS.map(([what, name]) => [what, (told, work) => {
  made[what] = { task: told, work };
  if (background.running(told)) go("give");
  return heard(what, name, made[what]);
}]));

function heard(what, name, one) {
  let ran = background.running(one.task);
  return (task) => {
    if (made[what] !== one) return;
    one.task = task;
    if (task.command) command("give", task.command);
    if (ran && !background.running(task)) {
      ran = false;
      tell(task.state === "done" ? `${name}: ${pathOf(task.result, task.result.files[0])} is written` : `${name}: ${task.state === "failed" ? task.problems[0] : "stopped"}`);
    }
    draw();
  };
}

function pathOf(result, file) { return result.folder === "." ? file.name : `${result.folder}/${file.name}`; }

/* `ended`: seconds since 1970 by this machine's clock, which is the desk's, too. */
function when(ended) {
  if (Date.now() / 1000 - ended < NOW_S) return "written just now";
  return `written ${new Date(1000 * ended).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}`;
}

function shows(file, word) {
  return el("a", { class: "button", href: file.address, target: "_blank", rel: "noopener", "data-key": `show ${file.address}`, "aria-label": `Show ${file.name} in a new tab` }, word);
}

/* What came of it. */
function outcome(what, name) {
  const { task, work } = made[what];
  if (background.running(task)) {
    return el("p", { class: "done" }, el("span", {}, `${capital(task.words || "beginning")} …`), el("button", { type: "button", "data-key": `stop ${what}`, "aria-label": `Stop: ${name}`, on: { click: work.stop } }, "Stop"));
  }
  if (task.state === "stopped") return el("p", { class: "done" }, "Stopped; nothing was written.");
  if (task.state === "failed") {
    const over = task.problems.some((line) => line.includes(THERE_ALREADY));
    return el("div", { class: "done" }, el("p", {}, task.problems.map(capital).join(" ")),
      over ? el("button", { type: "button", "data-key": `force ${what}`, on: { click: () => make(what, name, true) } }, "Write over it") : null);
  }
  const { result } = task, [first, ...more] = [...result.files].sort((a, b) => b.shown - a.shown), open = more.filter((file) => file.shown && file.address);
  return [
    el("p", { class: "done" }, el("span", {}, el("b", { class: "path" }, pathOf(result, first)), `, ${when(task.ended)}`, task.version && task.version !== store.state.version ? "; the job has changed since" : ""), first.address ? shows(first, "Show") : null),
    result.aside ? el("p", { class: "soft" }, capital(result.aside), ".") : null,
    el("p", { class: "soft" }, capital(result.words), "."),
    open.length ? el("details", { "data-key": `more ${what}`, open: made[what].open, on: { toggle: (event) => { made[what].open = event.target.open; } } }, el("summary", { "data-key": `summary ${what}` }, open.length === 1 ? "One more file" : `${open.length} more files`), el("div", { class: "row" }, open.map((file) => shows(file, file.name)))) : null,
  ];
}

function draw() {
  if (!store.state || !store.state.coats || store.look.bench !== "give") return;
  redraw(byId("give"), el("div", { class: "give" }, THINGS.map(([what, name, words]) => el("section", { "aria-label": name },
    el("button", { type: "button", "data-key": `give ${what}`, disabled: made[what] && background.running(made[what].task), on: { click: () => make(what, name, false) } }, el("b", {}, name), words),
    made[what] ? outcome(what, name) : null))));
}
