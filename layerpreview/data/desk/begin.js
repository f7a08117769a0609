/* Beginning a job, one thing at a time: where it comes from, its edge, what it is painted over, its name. */
import { ask, hand, trouble } from "./begin_ask.js";
import { baseAsked, drawBase, fetchChips, freshBase } from "./begin_base.js";
import { asked, draw, forget, listen, lookAt, photo, sizeWords } from "./begin_photo.js";
import { phoneCard } from "./phone_card.js";
import { running, worked } from "./shelf.js";
import { el, svg, byId, redraw, setText, choice } from "./dom.js";

const TITLES = { doors: "What are you going to paint?", earlier: "An earlier job", gallery: "From the gallery", photo: "The part in your photo", shape: "A shape", base: "What is it painted over?", name: "Its name" };
const BEFORE = { earlier: "doors", gallery: "doors", photo: "doors", shape: "doors", base: null, name: "base" };
const begun = { from: null, doors: null, shape: null, sizes: {}, drawing: null, rings: null, turn: 0, named: false };

function show(step) {
  document.body.dataset.step = step;
  setText(byId("title"), TITLES[step]);
  byId("back").hidden = step === "doors";
  trouble([]);
  byId("title").focus({ preventScroll: true });
  window.scrollTo(0, 0);
  say();
}

/* --- doors --- */

/* Of many jobs the first book takes a while: the button says so. */
async function book() {
  const button = byId("book"), words = button.textContent;
  button.disabled = true;
  const task = await worked("book", {}, (told) => setText(button, running(told) ? `${told.words || "beginning"} …` : words));
  button.disabled = false;
  setText(button, words);
  if (task && task.state === "done") location.assign(task.result.address);
  else if (task) trouble(task.problems);
}

async function doors() {
  const told = begun.doors = await ask("doors");
  if (!told) return;
  const link = byId("open-job");
  link.hidden = !told.open;
  setText(link, told.open ? `Back to ${told.open}` : "");
  if (told.jobs.length) setText(byId("earlier-words"), told.jobs.slice(0, 3).map((job) => job.folder).join(", ") + (told.jobs.length > 3 ? ` and ${told.jobs.length - 3} more` : ""));
  byId("earlier-door").disabled = !told.jobs.length;
  byId("from-phone").hidden = !told.phone.length;
  redraw(byId("phone-photos"), told.phone.map((one) => el("button", { "data-key": one.id, on: { click: () => onto(one) } }, el("img", { src: `/begin/photo.jpg?id=${one.id}`, alt: `Photo ${one.name}` }))));
}

function onto(upload, url) {
  begun.from = "photo";
  begun.turn = 0;
  forget();
  freshBase(true);
  const found = lookAt(upload, url);
  show("photo");
  draw();
  found.then(() => fetchChips(begun.doors.bases));
}

async function photoGiven(file) {
  if (!file) return;
  const door = byId("photo-door").querySelector("b");
  setText(door, "Reading the photo");
  const told = await hand("photo", file);
  setText(door, "A photo of it");
  byId("photo-file").value = "";
  if (told) onto(told);
}

async function drawingGiven(file) {
  if (!file) return;
  const told = await hand("drawing", file);
  byId("drawing-file").value = "";
  if (!told) return;
  Object.assign(begun, { from: "drawing", drawing: told, sizes: {}, rings: null, turn: 0 });
  freshBase(false);
  show("shape");
  drawShape();
}

function earlier() {
  show("earlier");
  redraw(byId("jobs"), begun.doors.jobs.map((job) => {
    const picture = el("img", { src: `/begin/job.jpg?folder=${encodeURIComponent(job.folder)}`, alt: "", loading: "lazy" });
    picture.addEventListener("error", () => picture.replaceWith(el("span", { class: "none" })));
    return el("button", { "data-key": job.folder, on: { click: async () => { if (await ask("open", { folder: job.folder })) location.href = "/"; } } }, picture, el("b", {}, job.folder), el("small", {}, job.when));
  }));
}

/* A touch begins a job with that finish, its parts and all; a name comes with it, and the first picture takes a while. */
function gallery() {
  show("gallery");
  redraw(byId("finishes"), begun.doors.gallery.map(({ name, title, words }) =>
    el("button", { "data-key": name, on: { click: () => like(name, title) } }, el("img", { src: `/begin/finish.jpg?name=${name}`, alt: "", loading: "lazy" }), el("b", {}, title), el("small", {}, words))));
}

async function like(name, title) {
  const finishes = [...byId("finishes").children];
  finishes.forEach((one) => { one.disabled = true; });
  setText(byId("title"), "Making it, with its first picture");
  if (await ask("make", { from: "gallery", like: name, name: title })) return void (location.href = "/");
  finishes.forEach((one) => { one.disabled = false; });
  setText(byId("title"), TITLES.gallery);
}

/* --- a shape or a drawing --- */

async function drawShape() {
  const shape = begun.from === "shape";
  setText(byId("title"), shape ? TITLES.shape : begun.drawing.name);
  const kinds = shape ? begun.doors.shapes.map((one) => choice(one.name, begun.shape === one.name, () => { begun.shape = one.name; begun.sizes = { ...one.sizes }; drawShape(); }, { "data-key": one.name })) : [];
  redraw(byId("shapes"), kinds);
  const names = shape ? Object.keys(begun.sizes) : ["width"];
  redraw(byId("sizes"), names.map((name) => el("label", { class: "field" }, shape ? name : "Width, if the drawing does not say it",
    el("input", { type: "text", value: begun.sizes[name] || "", placeholder: "320 mm or 12 1/2 in", autocomplete: "off", "data-key": `size ${name}`, on: { change: (event) => { begun.sizes[name] = event.target.value.trim(); drawShape(); } } }),
    shape ? steps(name) : null)));
  const told = await ask(shape ? "shape" : "drawing", shape ? { shape: begun.shape, sizes: begun.sizes } : { drawing: begun.drawing.id, width: begun.sizes.width || null });
  begun.rings = told && told.rings;
  byId("shape-next").disabled = !told;
  outlined(byId("shape-drawn"), begun.rings || [], 0);
  setText(byId("shape-size"), told ? `${told.width_mm.toFixed(0)} x ${told.height_mm.toFixed(0)} mm (${(told.width_mm / 25.4).toFixed(1)} x ${(told.height_mm / 25.4).toFixed(1)} in)` : "");
  begun.size = told;
  say();
}

/* Larger and smaller by touch: a tenth of an inch's worth or 5 mm, in the unit that stands there. */
function steps(name) {
  const move = (way) => {
    const text = begun.sizes[name], inch = /in|"/.test(text);
    const mm = begun.size ? begun.size : null;
    const now = numberOf(text);
    if (now === null || mm === undefined) return;
    begun.sizes[name] = inch ? `${Math.max(0.5, Math.round((now + way * 0.25) * 4) / 4)} in` : `${Math.max(5, Math.round((now + way * 5) / 5) * 5)} mm`;
    drawShape();
  };
  return el("span", { class: "choices" }, el("button", { type: "button", "aria-label": `${name} less`, "data-key": `${name} less`, on: { click: () => move(-1) } }, "\u2212"), el("button", { type: "button", "aria-label": `${name} more`, "data-key": `${name} more`, on: { click: () => move(1) } }, "+"));
}

/* The number in "6 1/2 in" or "320 mm"; null where it is none. */
function numberOf(text) {
  const found = /^\s*(\d+(?:[.,]\d+)?)?(?:\s*(\d+)\/(\d+))?/.exec(text);
  if (!found || (found[1] === undefined && found[2] === undefined)) return null;
  return Number((found[1] || "0").replace(",", ".")) + (found[2] ? Number(found[2]) / Number(found[3]) : 0);
}

/* An outline in its box, turned clockwise. */
function outlined(place, rings, turnDeg) {
  const turn = turnDeg * Math.PI / 180, cos = Math.cos(turn), sin = Math.sin(turn);
  const turned = rings.map((ring) => ring.map(([x, y]) => [x * cos - y * sin, x * sin + y * cos]));
  const all = turned.flat();
  if (!all.length) return void place.replaceChildren();
  const [x, y] = [0, 1].map((k) => Math.min(...all.map((p) => p[k]))), [w, h] = [0, 1].map((k) => Math.max(...all.map((p) => p[k])));
  place.setAttribute("viewBox", `${x} ${y} ${w - x} ${h - y}`);
  place.replaceChildren(svg("path", { d: turned.map((ring) => "M" + ring.map((p) => p.join(" ")).join("L") + "Z").join("") }));
}

/* --- base and name --- */

function toBase() {
  show("base");
  drawBase(begun.doors.bases, begun.from === "photo", say);
}

function toName() {
  show("name");
  if (!begun.named) byId("name").value = nameOf();
  drawName();
}

const nameOf = () => {
  const given = begun.from === "photo" ? photo.name : begun.from === "drawing" ? begun.drawing.name : begun.shape;
  return (given || "").replace(/\.[a-z0-9]{2,5}$/i, "").replace(/[_-]+/g, " ").trim().replace(/^./, (sign) => sign.toUpperCase()) || "New job";
};

function drawName() {
  const seen = begun.from === "photo";
  const rings = seen ? [photo.line.ring(), ...photo.told.openings.filter((_, i) => photo.keep[i]).map((one) => one.ring)] : begun.rings;
  outlined(byId("stands"), rings || [], begun.turn);
  setText(byId("stands-size"), seen ? sizeWords() : byId("shape-size").textContent);
  redraw(byId("body-of"), seen ? [
    el("p", {}, el("button", { "data-key": "turn", on: { click: () => { begun.turn = (begun.turn + 90) % 360; drawName(); } } }, "Turn it a quarter")),
    el("label", { class: "field" }, "How deep is its side? Leave it empty for the front alone", el("input", { type: "text", id: "depth", placeholder: "45 mm", autocomplete: "off", "data-key": "depth", value: photo.options.depth || "", on: { change: (event) => { photo.options.depth = event.target.value.trim() || null; say(); } } })),
    el("label", { class: "tick" }, el("input", { type: "checkbox", checked: photo.options.back || null, "data-key": "mirrored", on: { change: (event) => { photo.options.back = event.target.checked || null; say(); } } }), "Its back has the same outline"),
  ] : []);
  setText(byId("lands"), `It is made in the folder ${begun.doors.home}, in a folder of its own.`);
  say();
}

const wanted = () => ({
  from: begun.from, name: byId("name").value, ...baseAsked(),
  ...(begun.from === "photo" ? { ...asked(), kind: baseAsked().kind, turn_deg: begun.turn } : {}),
  ...(begun.from === "shape" ? { shape: begun.shape, sizes: begun.sizes } : {}),
  ...(begun.from === "drawing" ? { drawing: begun.drawing.id, width: begun.sizes.width || null } : {}),
});

async function make() {
  const button = byId("make");
  button.disabled = true;
  setText(button, baseAsked().base === "lamps" ? "Comparing the three photos: about half a minute" : "Making it, with its first picture");
  const told = await ask("make", wanted());
  if (told) location.href = "/";
  else {
    button.disabled = false;
    setText(button, "Make the job");
  }
}

/* The command that does the same. */
async function say() {
  const step = document.body.dataset.step;
  const plain = { earlier: "layerpreview desk FOLDER", gallery: "layerpreview start my-job --like NAME" }[step];
  if (plain || step === "doors" || !begun.from) return setText(byId("command"), plain || "layerpreview start my-job");
  const told = await ask("command", wanted());
  if (told && document.body.dataset.step === step) setText(byId("command"), told.command);
}

function goBack() {
  const step = document.body.dataset.step;
  const to = step === "base" ? (begun.from === "photo" ? "photo" : "shape") : BEFORE[step];
  show(to || "doors");
  if (to === "photo") draw();
  if (to === "doors" || !to) doors();
  if (to === "shape") drawShape();
}

byId("back").addEventListener("click", goBack);
byId("photo-file").addEventListener("change", (event) => photoGiven(event.target.files[0]));
byId("drawing-file").addEventListener("change", (event) => drawingGiven(event.target.files[0]));
byId("shape-door").addEventListener("click", () => {
  const first = begun.doors.shapes.find((one) => one.name === "teardrop") || begun.doors.shapes[0];
  Object.assign(begun, { from: "shape", shape: first.name, sizes: { ...first.sizes }, turn: 0 });
  freshBase(false);
  show("shape");
  drawShape();
});
byId("book").addEventListener("click", book);
byId("earlier-door").addEventListener("click", earlier);
byId("gallery-door").addEventListener("click", gallery);
byId("photo-next").addEventListener("click", toBase);
byId("shape-next").addEventListener("click", toBase);
byId("base-next").addEventListener("click", toName);
byId("make").addEventListener("click", make);
byId("name").addEventListener("input", () => { begun.named = true; });
byId("name").addEventListener("change", say);

/* A photo or a drawing may be dropped anywhere. */
document.addEventListener("dragover", (event) => {
  event.preventDefault();
  byId("photo-door").classList.add("over-it");
});
document.addEventListener("dragleave", () => byId("photo-door").classList.remove("over-it"));
document.addEventListener("drop", (event) => {
  event.preventDefault();
  byId("photo-door").classList.remove("over-it");
  const file = event.dataTransfer.files[0];
  if (file && document.body.dataset.step === "doors") (/\.svg$/i.test(file.name) ? drawingGiven : photoGiven)(file);
});

listen();
doors();
phoneCard(byId("phone-card"), () => document.body.dataset.step === "doors");
/* What the phone sends appears by itself. */
setInterval(() => { if (document.body.dataset.step === "doors" && !document.hidden) doors(); }, 3000);
window.begun = photo;
