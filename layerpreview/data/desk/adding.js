/* A new coat, or a dye taken into a mix: own dyes first, library ones marked generic. */

import { el } from "./dom.js";
import { edit, look, store } from "./store.js";
import * as dyes from "./dyes.js";

/* Of the usual strength: a dye taken into a mix of others only tints it at first. */
const TINTS = 0.25, ALONE = 0.5;

/* `shared`: how many other coats are sprayed with the same mix. */
export function addDye(mix, shared) {
  const held = new Set(mix.dyes.map((dye) => dye.name));
  const another = el("button", {
    type: "button", "data-key": "add dye", on: {
      click: () => dyes.open(`Another dye for ${mix.name}`, held, (dye, bring) => edit(`${dye.name} taken into ${mix.name}`, [...bring, { do: "set", at: ["mix", mix.name, "dyes", dye.name], to: dyes.strength(dye, TINTS) }])),
    },
  }, "Another dye");
  const away = mix.dyes.length < 2 ? [] : el("select", { "aria-label": `Leave a dye out of ${mix.name}`, "data-key": "drop dye" },
    el("option", { value: "" }, "Leave one out"), mix.dyes.map((dye) => el("option", { value: dye.name }, dye.name)));
  if (mix.dyes.length > 1) {
    away.addEventListener("change", () => {
      if (away.value) edit(`${away.value} left out of ${mix.name}`, [{ do: "unset", at: ["mix", mix.name, "dyes", away.value] }]);
    });
  }
  const words = shared ? `Dyes of ${mix.name}, which ${shared === 1 ? "another coat is" : `${shared} other coats are`} sprayed with too` : `Dyes of ${mix.name}`;
  return el("fieldset", {}, el("legend", {}, words), el("div", { class: "row" }, another, away));
}

/* What a new coat is sprayed with: one of the mixes, or a mix of its own begun with one dye. */
export function addCoat() {
  const { state } = store, count = state.coats.length;
  const add = async (words, before, table) => {
    const good = await edit(words, [...before, { do: "add", at: ["coat"], to: table }]);
    if (good) look({ bench: "mix", open: count, after: null });
  };
  const mixes = state.mixes.map((mix) => el("button", {
    type: "button", "data-key": `new ${mix.name}`, on: { click: () => add(`${mix.name}: a coat more`, [], { mix: mix.name, coats: 1, film: "medium" }) },
  }, mix.name));
  const begun = (dye, bring) => {
    const taken = new Set(state.mixes.map((mix) => mix.name));
    let name = dye.name;
    for (let k = 2; taken.has(name); k += 1) name = `${dye.name} ${k}`;
    add(`${name}: a coat`, [...bring, { do: "set", at: ["mix", name, "dyes", dye.name], to: dyes.strength(dye, ALONE) }], { mix: name, coats: 1, film: "medium" });
  };
  const own = el("button", { type: "button", "data-key": "new dye", on: { click: () => dyes.open("A coat of which dye?", new Set(), begun) } }, "A dye");
  const hides = el("button", { type: "button", "data-key": "new opaque", on: { click: () => add("an opaque coat", [], { name: freeName("dark coat"), opaque: "#1a1615", hiding: 1.2, coats: 1, film: "light" }) } }, "An opaque coat");
  return el("div", { class: "more" },
    state.mixes.length ? el("fieldset", {}, el("legend", {}, "Over everything, with a mix there is"), el("div", { class: "row" }, mixes)) : null,
    el("fieldset", {}, el("legend", {}, "With a mix of its own, begun with"), el("div", { class: "row" }, own, hides)));
}

function freeName(name) {
  const taken = new Set(store.state.coats.map((coat) => coat.name));
  let free = name;
  for (let k = 2; taken.has(free); k += 1) free = `${name} ${k}`;
  return free;
}
