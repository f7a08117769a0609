/* A new coat, or a dye taken into a mix: own dyes first, library ones marked generic. */

import { el } from "./dom.js";
import { edit, look, store } from "./store.js";

const USUAL = { "g/L": "0.5 g/L", "mL/L": "5 mL/L" };

/* Own dyes, those of files in the job, then the library; what the scheme has already comes as it is named there. */
function dyeChoices() {
  const { dyes, choices } = store.state, named = new Set(dyes.map((dye) => dye.name));
  const more = (choices || []).filter((one) => !named.has(one.name));
  return [...dyes, ...more].sort((a, b) => (a.source === "library") - (b.source === "library"));
}

/* What makes a dye known to the scheme, where it is not. */
function bring(name) {
  if (store.state.dyes.some((dye) => dye.name === name)) return [];
  const found = store.state.choices.find((one) => one.name === name);
  return [{ do: "set", at: ["dye", name, found.file ? "file" : "library"], to: found.file || found.library || name }];
}

function options(dyes) {
  return dyes.map((dye) => el("option", { value: dye.name }, `${dye.name}${dye.source === "library" ? ", generic" : ", your own"}`));
}

/* `shared`: how many other coats are sprayed with the same mix. */
export function addDye(mix, shared) {
  const held = new Set(mix.dyes.map((dye) => dye.name)), free = dyeChoices().filter((dye) => !held.has(dye.name));
  const select = el("select", { "aria-label": `Take another dye into ${mix.name}`, "data-key": "add dye" }, el("option", { value: "" }, "Take another dye"), options(free));
  select.addEventListener("change", () => {
    const name = select.value, unit = mix.dyes.length ? mix.dyes[0].unit : "mL/L";
    if (name) edit(`${name} taken into ${mix.name}`, [...bring(name), { do: "set", at: ["mix", mix.name, "dyes", name], to: USUAL[unit] || `5 ${unit}` }]);
  });
  const away = mix.dyes.length < 2 ? [] : el("select", { "aria-label": `Leave a dye out of ${mix.name}`, "data-key": "drop dye" },
    el("option", { value: "" }, "Leave one out"), mix.dyes.map((dye) => el("option", { value: dye.name }, dye.name)));
  if (mix.dyes.length > 1) {
    away.addEventListener("change", () => {
      if (away.value) edit(`${away.value} left out of ${mix.name}`, [{ do: "unset", at: ["mix", mix.name, "dyes", away.value] }]);
    });
  }
  const words = shared ? `Dyes of ${mix.name}, which ${shared === 1 ? "another coat is" : `${shared} other coats are`} sprayed with too` : `Dyes of ${mix.name}`;
  return el("fieldset", {}, el("legend", {}, words), el("div", { class: "row" }, select, away));
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
  const select = el("select", { "aria-label": "A mix of its own, begun with", "data-key": "new dye" }, el("option", { value: "" }, "A dye"), options(dyeChoices()));
  select.addEventListener("change", () => {
    const dye = select.value, taken = new Set(state.mixes.map((mix) => mix.name));
    let name = dye;
    for (let k = 2; taken.has(name); k += 1) name = `${dye} ${k}`;
    if (dye) add(`${name}: a coat`, [...bring(dye), { do: "set", at: ["mix", name, "dyes", dye], to: "5 mL/L" }], { mix: name, coats: 1, film: "medium" });
  });
  const hides = el("button", { type: "button", "data-key": "new opaque", on: { click: () => add("an opaque coat", [], { name: freeName("dark coat"), opaque: "#1a1615", hiding: 1.2, coats: 1, film: "light" }) } }, "An opaque coat");
  return el("div", { class: "more" },
    state.mixes.length ? el("fieldset", {}, el("legend", {}, "Over everything, with a mix there is"), el("div", { class: "row" }, mixes)) : null,
    el("fieldset", {}, el("legend", {}, "With a mix of its own, begun with"), el("div", { class: "row" }, select, hides)));
}

function freeName(name) {
  const taken = new Set(store.state.coats.map((coat) => coat.name));
  let free = name;
  for (let k = 2; taken.has(free); k += 1) free = `${name} ${k}`;
  return free;
}
