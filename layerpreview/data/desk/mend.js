/* A touch-up at the desk: touched round the damage on the part itself, said and answered below it. */

import { byId, el, redraw, setText, svg, tell } from "./dom.js";
import { look, on, store } from "./store.js";
import { command } from "./bench.js";
import { picture, turn } from "./picture.js";
import { answer } from "./mend_answer.js";
import { choices, corners, deed, touchedWords } from "./mend_form.js";
import * as said from "./mend_said.js";

const { mend } = said, NEARER = 1.6;
const kept = { result: null, node: null }, says = el("p", { role: "status", "aria-live": "polite" });

export const { pickedUp } = said;

export function begin() {
  said.begin(() => {
    if (mend.task && mend.task.command) command("mend", mend.task.command);
    look({});
  }, (task) => {
    if (touches() && task.state === "done") byId("mended").scrollIntoView({ block: "start" });
    tell(task.state === "done" ? `The repair: ${task.result.verdict.short}` : task.state === "failed" ? task.problems[0] : "Stopped");
  });
  on("state look", draw);
}

/* Whether a touch of the picture means a place of the damage. */
export function touches() { return store.look.bench === "mend"; }

export const add = said.add;

/* The line round the damage, on the picture. */
export function drawOn(lines, onScreen) {
  if (!touches()) return;
  const at = mend.places.map((one) => onScreen(one.face, [one.x_mm, one.y_mm])).filter(Boolean);
  const path = at.map((one) => `${one.x.toFixed(1)} ${one.y.toFixed(1)}`).join("L");
  for (const name of ["cased", "thread"]) {
    if (at.length > 1) lines.push(svg("path", { class: name, d: `M${path}${at.length > 2 ? "Z" : ""}` }));
    for (const one of at) lines.push(svg("circle", { class: name, cx: one.x.toFixed(1), cy: one.y.toFixed(1), r: 4 }));
  }
}

function answered() {
  const { task } = mend;
  if (!task || task.state !== "done" || !task.result) return null;
  if (kept.result !== task.result) Object.assign(kept, { result: task.result, node: answer(task.result) });
  const old = task.version !== store.state.version ? "The job has changed since. " : "";
  return [said.stands() && !old ? null : el("p", { class: "other" }, `${old}This is what was asked before; see the repair again.`), kept.node];
}

function helps() {
  if (!picture.live) return [el("a", { class: "button", href: "/touch-up", "data-key": "flat" }, "Touch the flat picture")];
  const { spot } = store.look;
  return [
    el("button", { type: "button", "data-key": "closer", on: { click: () => turn({ zoom: picture.pose.zoom * NEARER }) } }, "Closer"),
    el("button", { type: "button", "data-key": "further", on: { click: () => turn({ zoom: picture.pose.zoom / NEARER }) } }, "Further"),
    spot ? el("button", { type: "button", "data-key": "at A", on: { click: () => said.add(spot) } }, "A place at A") : null,
  ];
}

function draw() {
  if (!store.state || !store.state.coats || store.look.bench !== "mend") return;
  mend.faces = store.state.faces;
  const found = answered();
  setText(says, touchedWords());
  redraw(byId("mend"), el("div", { class: "mending" }, el("div", { class: "asking" }, says, deed(), el("div", { class: "row" }, corners(), helps())), el("div", { class: "groups" }, choices())));
  document.body.toggleAttribute("data-mended", Boolean(found));
  redraw(byId("mended"), found || []);
}
