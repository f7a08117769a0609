/* A dye learnt from its card: a table of readings, or a photo of the printed card; the fit is shown before it is used. */

import { byId, el, redraw } from "./dom.js";
import { say as announce, store } from "./store.js";
import * as background from "./background.js";
import { capital } from "./say.js";

const FILMS = [["", "as the table says, or medium"], ["light", "light"], ["medium", "medium"], ["wet", "wet"]];
const TABLES = /\.(csv|txt|cxf|xml)$/i;
let work = null;

/* A card that is still read while its sheet is closed, or the page was loaded anew, is told above everything (`bands`). */
function aside(task, own) {
  store.card = { task, stop: () => own.stop() };
  announce("band");
  return (told) => {
    store.card = { ...store.card, task: told };
    announce("band");
  };
}

export const pickedUp = { fit: (told, own) => {
  const known = (store.state.dyes || []).some((dye) => dye.name === told.asked.name);
  return told.state === "stopped" || (known && !background.running(told)) ? () => {} : aside(told, own);
} };

/* Ask for the card and what is known of it; `taken(dye, bring)` once the learnt dye is to be used. */
export function learn(taken) {
  const sheet = byId("sheet"), said = el("div", { class: "learnt", role: "status" }), chosen = el("p", { class: "soft" }, "A table (.csv, .txt) of colours read off the card, or a photo of the printed card.");
  const file = el("input", { type: "file", accept: ".csv,.txt,image/*", hidden: true });
  file.addEventListener("change", () => { if (file.files[0]) chosen.textContent = file.files[0].name; });
  const field = (name, label, given, note) => [name, el("label", { class: "field" }, label, el("input", { type: "text", autocomplete: "off", maxlength: 60, name, "data-key": `learn ${name}`, ...given }), note ? el("small", {}, note) : null)];
  const pickOne = (name, label, choices) => [name, el("label", { class: "field" }, label, el("select", { name, "data-key": `learn ${name}` }, choices.map(([value, words]) => el("option", { value }, words))))];
  const fields = [
    field("name", "What it is called", { value: "my dye" }),
    field("strength", "How strong the mix was", { placeholder: "12 mL/L" }, "if the table does not say it"),
    pickOne("film", "The film of a coat", FILMS),
    pickOne("light", "The light it was read in", [["", "as the table says, or daylight"], ...Object.entries(store.state.light_words)]),
    field("grey", "Photo: the grey beside it reflects", { placeholder: "0.18", inputmode: "decimal" }, "18 % grey: 0.18"),
    field("concentrate", "Pure dye in what is sold", { placeholder: "40 g/L" }, "if the maker says it"),
  ];
  let heard = heardHere;
  const begin = el("button", { type: "button", class: "main", "data-key": "fit", on: { click: () => fit(false) } }, "Learn it");
  const stop = el("button", { type: "button", hidden: true, on: { click: () => work.stop() } }, "Stop");

  async function fit(force) {
    if (!file.files[0]) return say("Choose the card first.");
    const body = Object.fromEntries(fields.map(([name, label]) => [name, label.querySelector("input, select").value.trim()]).filter(([, value]) => value));
    if (body.grey) body.grey = Number(body.grey.replace(",", "."));
    if (Number.isNaN(body.grey)) return say("Write how much the grey reflects as a number, such as 0.18.");
    begin.disabled = true;
    say("Handing it over …");
    const card = await background.hand(TABLES.test(file.files[0].name) ? "card" : "photo", file.files[0]);
    if (card.problems) return over(card.problems);
    work = background.begin("/api/fit", { ...body, card: card.id, ...(force ? { force: true } : {}) }, (task) => heard(task));
  }

  let last = null;
  function heardHere(task) {
    last = task;
    stop.hidden = !background.running(task);
    if (background.running(task)) return say(`${capital(task.words || "beginning")} …`);
    if (task.state === "done") return found(task.result);
    over(task.state === "stopped" ? ["stopped; nothing was written"] : task.problems);
  }

  function say(words) { redraw(said, el("p", {}, words)); }

  function over(lines) {
    begin.disabled = false;
    redraw(said, lines.map((line) => el("p", {}, capital(line))), lines.some((line) => line.includes("already there")) ? el("button", { type: "button", on: { click: () => fit(true) } }, "Write over it") : null);
    said.scrollIntoView({ block: "nearest" });
  }

  function found(result) {
    begin.disabled = false;
    const use = el("button", { type: "button", class: "main", "data-key": "use learnt", on: { click: () => taken({ name: result.name, source: "own", strength: body("strength") || "5 mL/L" }, [{ do: "set", ...result.add }]) } }, `Use ${result.name}`);
    redraw(said, el("p", {}, el("b", {}, capital(result.lines[0])), "."), use,
      result.picture ? el("img", { src: `${result.picture}?${Date.now()}`, alt: "The card as it was read beside what the learnt dye gives, step by step" }) : null,
      el("ul", { class: "soft" }, result.lines.slice(1).map((line) => el("li", {}, capital(line.trim())))),
      el("p", { class: "soft" }, `Kept as ${result.dye_file} in the job's folder.`));
    use.focus();
  }

  function body(name) { return fields.find(([one]) => one === name)[1].querySelector("input").value.trim(); }

  redraw(sheet, el("h2", { id: "sheet-name" }, "Learn a dye from its card"),
    el("div", { class: "row" }, el("button", { type: "button", "data-key": "card", on: { click: () => file.click() } }, "Choose the card"), file, chosen),
    el("div", { class: "fields" }, fields.map(([, label]) => label)),
    el("div", { class: "row" }, begin, stop, el("button", { type: "button", on: { click: () => sheet.close() } }, "Back")), said);
  sheet.addEventListener("close", () => { heard = background.running(last) ? aside(last, work) : () => {}; }, { once: true });
}
