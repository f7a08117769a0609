/* The dyes there are, as they look: own ones first, library ones marked generic; and a dye learnt from its card. */

import { byId, el, redraw } from "./dom.js";
import { ask } from "./store.js";
import { learn } from "./learn.js";
import { short } from "./say.js";

/*
 * Show them; `use(dye, bring)` is called with the one that is touched, `bring` being the changes that make it known to
 * the scheme. `held`: names that are not to be chosen again.
 */
export async function open(words, held, use) {
  const sheet = byId("sheet"), back = el("button", { type: "button", "data-key": "back", on: { click: () => sheet.close() } }, "Back");
  redraw(sheet, el("h2", { id: "sheet-name" }, words), el("p", { role: "status" }, "Looking them up …"), back);
  sheet.showModal();
  const [status, told] = await ask("/api/dyes");
  if (!sheet.open) return;
  if (status !== 200) return void redraw(sheet, el("h2", { id: "sheet-name" }, words), (told.problems || []).map((line) => el("p", {}, line)), back);
  const taken = (dye, bring) => {
    sheet.close();
    use(dye, bring);
  };
  const known = new Set(told.own.filter((dye) => dye.source === "library").map((dye) => dye.shown));
  const own = told.own.filter((dye) => !held.has(dye.name)), library = told.library.filter((dye) => !known.has(dye.shown));
  redraw(sheet, el("h2", { id: "sheet-name" }, words), told.problems.map((line) => el("p", {}, line)),
    el("p", { class: "soft" }, "Each over white, and two medium coats of it over this job's base."), list("In this job", own, taken), el("button", { type: "button", "data-key": "learn", on: { click: () => learn(taken) } }, "Learn a dye from its card"),
    list("From the library: generic, to get an idea", library, taken), back);
}

function list(name, dyes, taken) {
  if (!dyes.length) return null;
  return el("section", {}, el("h3", {}, name), el("ul", { class: "dyes" }, dyes.map((dye) => el("li", {}, chip(dye, taken)))));
}

function chip(dye, taken) {
  return el("button", { type: "button", "data-key": `dye ${dye.name}`, on: { click: () => taken(dye, dye.add ? [{ do: "set", ...dye.add }] : []) } },
    el("span", { class: "twin", "aria-hidden": "true" }, el("i", { style: { background: dye.swatch } }), el("i", { style: { background: dye.over_base } })),
    el("span", {}, el("b", {}, dye.source === "library" ? dye.shown : dye.name), el("small", {}, dye.source === "library" ? "generic" : dye.used ? "your own" : "your own, not used yet")));
}

/* A share of its usual strength, as the scheme writes it. */
export function strength(dye, share) {
  const [, number, unit] = /^([0-9.]+) (.*)$/.exec(dye.strength);
  return `${short(number * share)} ${unit}`;
}
