/* What is asked before something is said: readings, a batch, booth and gun, what is left, drops. One sheet at a time. */
import { byId, el, redraw } from "./dom.js";
import { asked, said, say } from "./day_said.js";
import { photo } from "./day_photo.js";
import { capital, inches } from "./say.js";
import { about } from "./store.js";

const UM_PER_MIL = 25.4, ML_PER_OZ = 29.5735, SPOTS = 4, UNITS = ["mL", "g", "drops"];
let shown = () => {};

export function forms(call) {
  shown = call;
  byId("sheet").addEventListener("close", () => shown());
}

export function open(one) {
  ({ "film-read": wetFilm, batch, conditions, left, drops, photo: (deed) => photo(deed, sheet, close) })[one.what](one);
}

/* The sheet with a heading, `inside`, and the button that says it. `read` gives [what, values], or a text: what is wrong. */
export function sheet(name, inside, done, read) {
  const wrong = el("p", { class: "wrong", role: "alert", hidden: true });
  const form = el("form", { novalidate: true, method: "dialog" }, el("h2", { id: "sheet-name" }, name), [inside].flat(3).filter(Boolean), wrong,
    el("div", { class: "ends" }, el("button", { type: "button", on: { click: close } }, done ? "Not now" : "Close"), done && el("button", { class: "main" }, done)));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const found = read(form);
    const problems = typeof found === "string" ? [found] : await say(...found);
    wrong.hidden = !problems.length;
    wrong.textContent = problems.join(" ");
    if (!problems.length) close();
  });
  redraw(byId("sheet"), form);
  if (!byId("sheet").open) byId("sheet").showModal();
  return form;
}

export function close() { byId("sheet").close(); }

/* Asked before a coat is written down that comes sooner than the one before allows. */
export function sure(one, why) {
  sheet(`Is ${one.words.replace(/ is on$/, "")} on as well?`, el("p", {}, why), "It is on", () => [one.what, one.values]);
}

const number = (text) => Number(String(text).trim().replace(",", "."));
const field = (label, given) => el("label", {}, label, el("input", { autocomplete: "off", inputmode: "decimal", ...given }));
const value = (form, name) => form.elements[name].value.trim();

function chosen(label, name, options, now) {
  return el("label", {}, label, el("select", { name }, options.map((one) => el("option", { value: one, selected: one === now }, one))));
}

function wetFilm(one) {
  const unit = inches() ? "mil" : "µm", times = inches() ? UM_PER_MIL : 1;
  const fields = Array.from({ length: SPOTS }, (_, i) => field(`${i + 1}`, { name: `r${i}`, "aria-label": `place ${i + 1}, ${unit}` }));
  sheet(capital(one.words), [el("p", {}, `What the gauge says right after the coat [${unit}], in several places: middle, edge, left and right.`), el("div", { class: "row" }, fields)], "Write it down", (form) => {
    const texts = fields.map((_, i) => value(form, `r${i}`)).filter(Boolean), read = texts.map(number);
    if (!read.length) return "No reading yet.";
    if (read.some((um) => !(um > 0))) return "Readings are numbers, as 45 or 1,75.";
    return ["film-read", { ...one.values, readings_um: read.map((um) => Math.round(um * times * 100) / 100) }];
  });
}

async function batch(one) {
  const [status, told] = await asked(about("/api/batches"));
  const all = status === 200 ? told.batches : [], titles = all.map((each) => each.title);
  const show = (title) => {
    const mix = all.find((each) => each.title === title) || { parts: [], make_mL: null };
    const rows = mix.parts.map((part, i) => el("div", { class: "poured" }, el("b", {}, part.name),
      field(part.planned ? `of ${part.planned}` : "amount", { name: `a${i}`, "aria-label": `${part.name}: amount poured` }),
      chosen("in", `u${i}`, UNITS, part.unit),
      el("label", { class: "lot" }, "bottle", el("input", { name: `l${i}`, autocomplete: "off", maxlength: 60, placeholder: "its lot number, if it has one" }))));
    const asPlanned = el("button", { type: "button", on: { click: () => mix.parts.forEach((part, i) => { form.elements[`a${i}`].value = part.planned.split(" ")[0]; form.elements[`u${i}`].value = part.unit; }) } }, "Poured as the sheet says");
    const form = sheet("Batch made", [chosen("Which", "title", titles.length ? titles : [one.values.batch], title), mix.make_mL ? el("p", { class: "soft" }, `The mix sheet makes ${mix.make_mL} mL. Write what you really poured.`) : null, mix.parts.length ? asPlanned : null, rows,
      el("label", {}, "Card or dye file that it was fitted to", el("input", { name: "card", autocomplete: "off", maxlength: 200 }))], "It is made", (made) => {
      const poured = [];
      for (const [i, part] of mix.parts.entries()) {
        const text = value(made, `a${i}`);
        if (!text) continue;
        if (!(number(text) >= 0)) return `${part.name}: an amount is a number, as 1.4.`;
        poured.push({ name: part.name, amount: number(text), unit: made.elements[`u${i}`].value, lot: value(made, `l${i}`) });
      }
      return ["batch", { batch: made.elements.title.value, poured, card: value(made, "card") }];
    });
    form.elements.title.addEventListener("change", () => show(form.elements.title.value));
  };
  show(one.values.batch || titles[0]);
}

function conditions() {
  const unit = inches() ? "°F" : "°C";
  sheet("Booth and gun", [el("div", { class: "row" }, field(`Temperature [${unit}]`, { name: "warm" }), field("Humidity [%]", { name: "damp" })),
    el("label", {}, "Gun: nozzle, pressure, fan", el("input", { name: "gun", autocomplete: "off", maxlength: 200 }))], "Write it down", (form) => {
    const values = {}, warm = value(form, "warm"), damp = value(form, "damp");
    if (warm) values.temperature_C = Math.round((inches() ? (number(warm) - 32) / 1.8 : number(warm)) * 10) / 10;
    if (damp) values.humidity = number(damp) / 100;
    if (value(form, "gun")) values.gun = value(form, "gun");
    if (Object.values(values).some((one) => Number.isNaN(one))) return "Temperature and humidity are numbers.";
    return Object.keys(values).length ? ["conditions", values] : "Nothing is filled in yet.";
  });
}

function left(one) {
  const titles = said.day.may_say.filter((each) => each.what === "left").map((each) => each.values.batch);
  const unit = inches() ? "fl oz" : "mL", times = inches() ? ML_PER_OZ : 1;
  sheet("What is left", [el("p", {}, "Gun, cup and bottle together, once you are done with the batch: it tells how much of it landed on the part."), chosen("Of", "title", titles, one.values.batch), field(`Left [${unit}]`, { name: "much" })], "Write it down", (form) => {
    const much = number(value(form, "much") || NaN);
    return much >= 0 ? ["left", { batch: form.elements.title.value, left_mL: Math.round(much * times * 100) / 100 }] : "How much is left is a number, as 22.";
  });
}

function drops(one) {
  const names = said.day.may_say.filter((each) => each.what === "drops").map((each) => each.values.dye);
  sheet("Drops counted", [el("p", {}, "Let drops fall into a small syringe until a mark is reached, and count them."), chosen("Of", "dye", names, one.values.dye), el("div", { class: "row" }, field("Drops", { name: "count", inputmode: "numeric" }), field("made [mL]", { name: "much" }))], "Write it down", (form) => {
    const count = number(value(form, "count") || NaN), much = number(value(form, "much") || NaN);
    return Number.isInteger(count) && count > 0 && much > 0 ? ["drops", { dye: form.elements.dye.value, drops: count, volume_mL: much }] : "Drops are a whole number, the volume a number, as 43 and 1.";
  });
}
