/* The same colour again: a record, today's dyes one by one, and what comes closest. */
import { byId, el, redraw, setText } from "./dom.js";
import { ask, hand, trouble } from "./begin_ask.js";
import { running, shelf, worked } from "./shelf.js";

/* The record, the dyes that stand for its own by name, those to be tried beside them, and of these the ones to use. */
const asked = { record: null, told: null, dyes: {}, more: [], also: new Set(), today: "" };
let begun = 0;

async function recordGiven(file) {
  if (!file) return;
  setText(byId("record-says"), "Looking whether it is whole");
  const upload = await hand("record", file);
  const told = upload && await shelf("record", { record: upload.id });
  setText(byId("record-says"), told ? `${told.name}, recorded on ${told.made}` : "The sealed file of the job (.record.zip)");
  byId("found").hidden = true;
  Object.assign(asked, { record: told ? upload.id : null, told, dyes: {}, more: [], also: new Set(), today: "" });
  draw();
}

async function dyeGiven(name, file) {
  if (!file) return;
  const upload = await hand("dye", file);
  if (!upload) return;
  if (name) asked.dyes[name] = upload;
  else asked.more.push(upload);
  draw();
}

function dyeField(name) {
  const given = asked.dyes[name];
  return el("label", { class: "handed" }, el("span", {}, el("b", {}, name), given ? `: ${given.name}` : ": today's dye file, or none where it is the record's own bottle"),
    el("input", { type: "file", accept: ".toml", "aria-label": `${name}: today's dye file`, on: { change: (event) => dyeGiven(name, event.target.files[0]) } }));
}

function more(upload) {
  const name = upload.name.replace(/\.dye\.toml$/, "");
  return el("label", { class: "tick" }, el("input", { type: "checkbox", checked: asked.also.has(name), on: { change: (event) => { if (event.target.checked) asked.also.add(name); else asked.also.delete(name); } } }), `use ${name}, too`);
}

function draw() {
  if (!asked.told) return redraw(byId("dyes"));
  const jobs = asked.told.jobs.length ? el("label", {}, "Today's base and gun", el("select", { "data-key": "today", on: { change: (event) => { asked.today = event.target.value; } } },
    el("option", { value: "" }, "as in the record"), asked.told.jobs.map((job) => el("option", { value: job, selected: job === asked.today }, `those of ${job}`)))) : null;
  redraw(byId("dyes"), el("div", {}, el("h2", {}, "Today's dyes"), asked.told.dyes.map(dyeField),
    el("label", { class: "handed" }, "Other dyes on your shelf that may help", el("input", { type: "file", accept: ".toml", "aria-label": "another dye file", on: { change: (event) => dyeGiven("", event.target.files[0]) } })),
    asked.more.map(more), jobs, el("button", { type: "button", class: "main", "data-key": "work", on: { click: () => work(false) } }, "Work it out")));
}

async function work(anyway) {
  const mine = begun += 1;
  const dyes = Object.fromEntries(Object.entries(asked.dyes).map(([name, upload]) => [name, upload.id]));
  byId("found").hidden = false;
  redraw(byId("answer"));
  await worked("remake", { record: asked.record, dyes, more: asked.more.map((one) => one.id), also: [...asked.also], today: asked.today || null, anyway }, (task) => { if (mine === begun) show(task); });
}

function show(task) {
  if (running(task)) return setText(byId("verdict"), `${task.words || "beginning"} …`);
  if (task.state !== "done") {
    setText(byId("verdict"), "");
    byId("found").hidden = true;
    return trouble(task.problems.length ? task.problems : ["It was stopped; nothing was written."]);
  }
  const { verdict, lines, folder, picture, same } = task.result;
  setText(byId("verdict"), verdict);
  redraw(byId("answer"), el("img", { src: picture, alt: "Old beside new under every light: left as it was, right as it comes out" }),
    told(lines),
    el("p", {}, `Written as the job ${folder}, beside the others.`),
    el("div", { class: "ends" }, same ? el("button", { type: "button", "data-key": "anyway", on: { click: () => work(true) } }, "Work it out all the same") : null,
      el("button", { type: "button", class: "main", "data-key": "open", on: { click: () => open(folder) } }, "Open it at the desk")));
  byId("now").focus({ preventScroll: true });
  byId("now").scrollIntoView({ block: "start" });
}

/* Lines of a table stay under each other; all else is prose. */
function told(lines) {
  const found = [];
  for (const line of lines) {
    const table = /\S {2,}\S/.test(line) || /^ {2,}\S/.test(line), last = found[found.length - 1];
    if (table && last && last.table) last.lines.push(line);
    else if (line.trim()) found.push({ table, lines: [line] });
  }
  return found.map((one) => (one.table ? el("pre", { tabindex: "0" }, one.lines.join("\n")) : el("p", {}, one.lines[0])));
}

async function open(folder) {
  if (await ask("open", { folder })) location.assign("/");
}

byId("record").addEventListener("change", (event) => recordGiven(event.target.files[0]));
window.again = { asked };
