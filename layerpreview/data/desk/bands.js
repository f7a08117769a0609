/* Above everything, in words: a change that met another, a desk that was closed, what could not be written. */

import { byId, el, redraw, setText } from "./dom.js";
import { edit, on, redo, say, store, undo } from "./store.js";
import { running } from "./background.js";
import { capital } from "./say.js";

/* The version of which a change from elsewhere was read already. */
let seen = null;

export function begin() {
  on("band state", draw);
  byId("undo").addEventListener("click", undo);
  byId("redo").addEventListener("click", redo);
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target.closest("input")) return;
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    if (key === "y" || event.shiftKey) redo(); else undo();
  });
}

function draw() {
  const { state } = store;
  redraw(byId("bands"), other(), gone(), asked(), failed(), card(), outside());
  if (!state) return;
  for (const part of document.querySelectorAll(".desk > :not(.bands)")) part.inert = Boolean(store.other);
  const name = state.name || state.job;
  setText(byId("name"), name);
  if (document.title !== `${name}: the desk`) document.title = `${name}: the desk`;
  setText(byId("saved"), store.gone || store.other ? "not saved from here any more" : "every change is kept");
  step(byId("undo"), "Undo", state.undo);
  step(byId("redo"), "Redo", state.redo);
}

function step(button, word, what) {
  button.disabled = !what || Boolean(store.gone);
  button.replaceChildren(word, what && word === "Undo" ? el("span", { class: "what" }, `: ${what}`) : "");
  button.title = what || "";
}

function band(role, ...inside) { return el("section", { class: "band", role, "aria-label": "The desk says" }, inside); }

function good(call) {
  return el("button", { type: "button", "data-key": "dismiss", on: { click: () => { call(); say("band"); } } }, "Good");
}

/* Another window has opened another job: this one is still to be seen, and nothing is done to either from here. */
function other() {
  if (!store.other) return null;
  return band("alert", el("p", {}, el("b", {}, `Another job is open now: ${store.other}. `), `This page still shows ${store.state.job}, as it was; every change is kept, and no more can be made here.`),
    el("button", { type: "button", class: "main", "data-key": "other", on: { click: () => location.reload() } }, `Go on with ${store.other}`));
}

function gone() {
  if (!store.gone || store.other) return null;
  const command = store.state && store.state.command ? store.state.command.check.replace(" check ", " desk ") : "layerpreview desk";
  if (store.gone === "known") return band("alert", el("p", {}, el("b", {}, "The desk was started again. "), "Open the address that it printed then; this page no longer belongs to it."));
  return band("alert", el("p", {}, el("b", {}, "The desk was closed. "), "All that was changed is kept. Start it again with ", el("code", {}, command)));
}

function shown(value) { return typeof value === "object" && value !== null ? "something else" : value === null ? "nothing" : String(value); }

/* What a place in the file is called: coat 1, coats. */
function placeWords(at) {
  const [kind, which, ...rest] = at, { state } = store;
  const name = kind === "coat" && state.coats[which] ? state.coats[which].name : [kind, which].filter((step) => typeof step === "string").join(" ");
  const last = rest.filter((step) => typeof step === "string").pop();
  return [capital(name), last || ""];
}

function asked() {
  const mine = store.asked;
  if (!mine) return null;
  const [place] = mine.places, [name, what] = placeWords(place.at), of = (value) => `${shown(value)}${what === "coats" ? " coats" : what ? ` (${what})` : ""}`;
  const settle = (keep) => {
    store.asked = null;
    if (keep) edit(mine.words, mine.changes, true);
    say("band");
  };
  return band("alertdialog",
    el("p", {}, el("b", {}, `${name} was changed elsewhere. `), `There it is ${of(place.theirs)}, here ${of(place.yours)}. Your other changes are in both.`),
    el("div", { class: "row" },
      el("button", { type: "button", class: "main", "data-key": "theirs", on: { click: () => settle(false) } }, `Take ${shown(place.theirs)}`),
      el("button", { type: "button", "data-key": "mine", on: { click: () => settle(true) } }, `Keep my ${shown(place.yours)}`)));
}

function failed() {
  if (!store.failed.length) return null;
  return band("alert", el("div", {}, el("b", {}, "This cannot be done; nothing was changed."), store.failed.map((line) => el("p", {}, line))),
    good(() => { store.failed = []; }));
}

/* A card that is read while its sheet is not open. */
function card() {
  if (!store.card) return null;
  const { task, stop } = store.card, away = good(() => { store.card = null; });
  if (running(task)) return band("status", el("p", {}, `A dye is being learnt from its card: ${task.words || "beginning"} …`), el("button", { type: "button", "data-key": "stop card", on: { click: stop } }, "Stop"));
  if (task.state === "failed") return band("alert", el("div", {}, el("b", {}, "No dye could be learnt from the card."), task.problems.map((line) => el("p", {}, capital(line)))), away);
  if (task.state !== "done" || !task.result) return null;
  const { name, dye_file: file } = task.result;
  return band("status", el("p", {}, el("b", {}, `${capital(name)} is learnt from its card. `), `It is kept as ${file}, and stands among your own dyes where a mix takes another.`), away);
}

function unread(state) {
  return state.coats ? "The file cannot be read as it stands; the last good one is shown."
    : "The file cannot be read yet. Mend it with an editor; this page follows.";
}

function outside() {
  const { state } = store;
  if (!state) return null;
  const lines = [...(state.problems || []), ...(state.notes || [])];
  if (lines.length) return band("status", el("div", {}, state.problems.length ? el("b", {}, unread(state)) : null, lines.map((line) => el("p", {}, line))));
  if (!state.outside || seen === state.version) return null;
  return band("status", el("p", {}, capital(state.outside), "."), good(() => { seen = state.version; }));
}
