/* The part in a photo: its edge dragged, openings touched, its size told, a point named where it went wrong. */
import { ask } from "./begin_ask.js";
import { dragged } from "./begin_drag.js";
import { Line } from "./begin_line.js";
import { loupe } from "./begin_loupe.js";
import { el, svg, byId, press, redraw, setText, choice } from "./dom.js";

export const photo = { id: null, name: "", told: null, options: {}, keep: null, line: null, handles: [], look: "edge", mode: null, steps: [], busy: 0, whole: false, size: [4, 3] };

const WORDS = { good: "Good", "look at it": "Look at it", "not usable": "Cannot be used" };
const path = (ring) => "M" + ring.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L") + "Z";

/* A photo that was handed over: shown at once, its edge looked for. */
export function lookAt(upload, shownBy) {
  Object.assign(photo, { id: upload.id, name: upload.name, told: null, options: {}, keep: null, line: null, handles: [], look: "edge", mode: null, steps: [], whole: false, size: [upload.width_px, upload.height_px] });
  byId("photo").style.setProperty("--ar", upload.width_px / upload.height_px);
  byId("shown").src = shownBy || `/begin/photo.jpg?id=${upload.id}`;
  byId("lines").setAttribute("viewBox", `0 0 ${upload.width_px} ${upload.height_px}`);
  return trace();
}

/* The photo in its stage: as near as the part allows, or whole. */
function place() {
  const stage = byId("stage"), told = photo.told, [w, h] = photo.size;
  const across = stage.clientWidth, down = stage.clientHeight - 34;
  let [left, top, wide, high] = [0, 0, w, h];
  if (told && !photo.whole) {
    const [x, y] = [0, 1].map((k) => told.outer.map((point) => point[k]));
    const [x0, y0, x1, y1] = [Math.min(...x), Math.min(...y), Math.max(...x), Math.max(...y)], room = 0.13 * Math.max(x1 - x0, y1 - y0);
    [left, top, wide, high] = [x0 - room, y0 - room, x1 - x0 + 2 * room, y1 - y0 + 2 * room];
  }
  const scale = Math.min(across / wide, down / high), node = byId("photo").style;
  node.setProperty("--wide", `${w * scale}px`);
  node.setProperty("--left", `${(across - wide * scale) / 2 - left * scale}px`);
  node.setProperty("--top", `${34 + (down - high * scale) / 2 - top * scale}px`);
  byId("closer").hidden = !told;
  setText(byId("closer"), photo.whole ? "Closer" : "Whole photo");
}

export function asked() {
  const same = photo.keep && photo.told && photo.keep.every((kept, i) => kept === photo.told.openings[i].open);
  return { photo: photo.id, ...photo.options, pulls: photo.line ? photo.line.asked() : [], keep: same ? null : photo.keep };
}

/* Ask where the part lies, with all that is known of it by now. */
export async function trace(name) {
  const mine = ++photo.busy;
  if (!photo.told || name !== "pulled") setText(byId("seen"), photo.told ? "looking again" : "looking for the part and the sheet");
  byId("stage").toggleAttribute("data-busy", true);
  byId("photo-next").disabled = true;
  const told = await ask("trace", asked());
  if (mine !== photo.busy) return false;
  byId("stage").toggleAttribute("data-busy", false);
  if (!told) {
    setText(byId("seen"), photo.told ? "as it was before" : "not found");
    if (!photo.told) showLook("wrong");
    else if (name === "pulled" && photo.steps.length) {   // it cannot be pulled that far
      photo.line.pulls = photo.steps.pop();
      draw();
    }
    if (photo.told) byId("photo-next").disabled = !photo.told.known || photo.told.verdict === "not usable";
    return false;
  }
  take(told, name === "pulled");
  return true;
}

function take(told, pulled) {
  const before = photo.told;
  photo.told = told;
  const same = before && photo.line && JSON.stringify(before.outer) === JSON.stringify(told.outer);
  if (!same) {
    photo.line = new Line(told.outer);
    place();
    photo.handles = photo.line.handles(handleCount());
    photo.steps = [];
    if (before && !pulled) return void trace("pulled");   // what was pulled was pulled on another line
  }
  if (!photo.keep || photo.keep.length !== told.openings.length) photo.keep = told.openings.map((one) => one.open);
  const usable = told.known && told.verdict !== "not usable";
  byId("photo-next").disabled = !usable;
  setText(byId("seen"), `${WORDS[told.verdict].toLowerCase()}${told.known ? `, ${sizeWords()}` : ", size not known yet"}`);
  setText(byId("command"), told.command);
  if (!told.known && !before) [photo.look, photo.whole] = ["size", true];
  draw();
}

const inches = (mm) => (mm / 25.4).toFixed(1);
export function sizeWords() {
  const { width_mm: wide, height_mm: high } = photo.told.size;
  return `${wide.toFixed(0)} x ${high.toFixed(0)} mm (${inches(wide)} x ${inches(high)} in)`;
}

/* Pixels of the photo in one of the screen. */
const scale = () => photo.told.width_px / byId("photo").clientWidth;

/* So many handles that a finger finds each: 8 to 24. */
function handleCount() {
  return Math.min(24, Math.max(8, Math.round(photo.line.whole / scale() / 76)));
}

/* Handles anew for the size the photo has now; those that were pulled stay where they are. */
function spread() { if (photo.told && !photo.line.pulls.length) photo.handles = photo.line.handles(handleCount()); }

/* Everything drawn on the photo, and what is said beside it. */
export function draw() {
  place();
  drawLines();
  drawMarks();
  drawLeaf();
}

function drawLines() {
  const told = photo.told;
  if (!told) return void byId("lines").replaceChildren();
  const { width_px: w, height_px: h } = told;
  const outer = path(photo.line.ring());
  const rings = told.openings.map((one, i) => [path(one.ring), photo.keep[i]]);
  const open = rings.filter(([, kept]) => kept).map(([d]) => d).join("");
  byId("lines").replaceChildren(
    svg("path", { class: "veil", d: `M0 0H${w}V${h}H0Z${outer}${open}` }),
    ...told.beside.flatMap((ring) => lined(path(ring), true)),
    ...lined(outer, false),
    ...rings.flatMap(([d, kept]) => lined(d, !kept)),
  );
}

const lined = (d, dash) => [svg("path", { class: "cased", d }), svg("path", { class: dash ? "line dash" : "line", d })];

function put(node, [x, y]) {
  node.style.left = `${100 * x / photo.told.width_px}%`;
  node.style.top = `${100 * y / photo.told.height_px}%`;
}

function drawMarks() {
  const place = byId("marks");
  if (!photo.told) return void place.replaceChildren();
  if (photo.look === "edge") redraw(place, photo.handles.map(handle));
  else if (photo.look === "holes") redraw(place, photo.told.openings.map(hole));
  else redraw(place, marksShown().map(mark));
}

/* --- the edge --- */

function handle(at, i) {
  const node = el("button", { class: "handle", "aria-label": `Handle ${i + 1} of ${photo.handles.length}, arrow keys move it`, "data-key": `handle ${i}` });
  put(node, photo.line.now(...at));
  dragged(node, {
    scale,
    begin: remember,
    move: (right, down) => {
      photo.line.pull(...at, right, down, reach());
      put(node, photo.line.now(...at));
      drawLines();
      return photo.line.now(...at);
    },
    end: () => {
      byId("marks").querySelectorAll(".handle").forEach((one, k) => put(one, photo.line.now(...photo.handles[k])));
      trace("pulled");
    },
  });
  return node;
}

/* How much of the line comes along: to about the next handle. */
const reach = () => 0.55 * photo.line.whole / photo.handles.length;

function remember() { photo.steps.push(photo.line.pulls.map((one) => ({ ...one }))); }

function back() {
  photo.line.pulls = photo.steps.pop() || [];
  trace("pulled");
  draw();
}

/* --- openings --- */

function hole(one, i) {
  const node = choice("", photo.keep[i], () => keep(i), { class: "hole", "data-key": `hole ${i}`, "aria-label": `Opening ${i + 1}` });
  node.append(el("b", {}, photo.keep[i] ? "open" : "closed"));
  put(node, middle(one.ring));
  return node;
}

function keep(i) {
  photo.keep[i] = !photo.keep[i];
  draw();
  trace("pulled");
}

const middle = (ring) => [0, 1].map((k) => (Math.min(...ring.map((p) => p[k])) + Math.max(...ring.map((p) => p[k]))) / 2);

/* --- points: of the part, of its ground, the two ends of a length --- */

const POINTS = { at: "part", background: "ground", from: "1", to: "2" };
const points = {};

function marksShown() {
  const shown = photo.look === "wrong" ? ["at", "background"] : photo.look === "size" ? ["from", "to"] : [];
  return shown.filter((name) => points[name]);
}

function mark(name) {
  const node = el("button", { class: "mark", "data-key": `mark ${name}`, "aria-label": `${POINTS[name]}, arrow keys move it` }, el("b", {}, POINTS[name]));
  put(node, points[name]);
  dragged(node, {
    scale,
    begin: () => {},
    move: (right, down) => {
      points[name] = within([points[name][0] + right, points[name][1] + down]);
      put(node, points[name]);
      return points[name];
    },
    end: () => pointed(name),
  });
  return node;
}

const within = ([x, y]) => [Math.min(photo.told.width_px, Math.max(0, x)), Math.min(photo.told.height_px, Math.max(0, y))];
const share = ([x, y]) => [x / photo.told.width_px, y / photo.told.height_px];

function pointed(name) {
  photo.mode = null;
  if (name === "from" && !points.to) photo.mode = "to";
  byId("stage").classList.toggle("touching", Boolean(photo.mode));
  if (name === "at" || name === "background") {
    photo.options[name] = share(points[name]);
    trace();
  }
  draw();
}

export function forget() {
  for (const name of Object.keys(points)) delete points[name];
  photo.mode = null;
  byId("stage").classList.remove("touching");
}

/* The next touch on the photo sets this point: where it is let go, so that the loupe can be looked at first. */
function ready(name) {
  photo.mode = name;
  byId("stage").classList.add("touching");
  drawLeaf();
}

export function listen() {
  const shown = byId("photo");
  const where = (event) => {
    const box = shown.getBoundingClientRect();
    return within([(event.clientX - box.left) / box.width * photo.told.width_px, (event.clientY - box.top) / box.height * photo.told.height_px]);
  };
  let down = false;
  shown.addEventListener("pointerdown", (event) => {
    if (!photo.mode || event.target.closest("button")) return;
    down = true;
    shown.setPointerCapture(event.pointerId);
    loupe(where(event), event.clientX);
  });
  shown.addEventListener("pointermove", (event) => { if (down) loupe(where(event), event.clientX); });
  shown.addEventListener("pointerup", (event) => {
    if (!down) return;
    down = false;
    loupe(null);
    points[photo.mode] = where(event);
    pointed(photo.mode);
  });
  shown.addEventListener("pointercancel", () => { down = false; loupe(null); });
  for (const button of document.querySelectorAll("[data-look]")) button.addEventListener("click", () => showLook(button.dataset.look));
  window.addEventListener("resize", () => {
    place();
    spread();
    drawMarks();
  });
  byId("closer").addEventListener("click", () => {
    photo.whole = !photo.whole;
    place();
    spread();
    draw();
  });
}

export function showLook(name) {
  photo.look = name;
  photo.whole = name === "size" || name === "wrong";
  photo.mode = null;
  byId("stage").classList.remove("touching");
  draw();
}

/* --- what is said beside it --- */

function drawLeaf() {
  for (const button of document.querySelectorAll("[data-look]")) press(button, button.dataset.look === photo.look);
  const leaf = { edge: edgeLeaf, holes: holesLeaf, size: sizeLeaf, wrong: wrongLeaf }[photo.look];
  if (photo.told) redraw(byId("leaf"), leaf());
  else redraw(byId("leaf"), photo.look === "wrong" ? wrongLeaf() : el("p", {}, "The photo is looked at: first the sheet of paper, then the edge of the part. That takes some seconds."));
}

function edgeLeaf() {
  const { verdict, against, figures } = photo.told;
  return [
    el("p", { class: "verdict" }, WORDS[verdict]),
    el("ul", { class: "why" }, against.map((reason) => el("li", {}, reason))),
    el("p", {}, "The white line is the edge of the part. Where it is off, drag a ring."),
    el("div", { class: "choices" },
      el("button", { "data-key": "back", disabled: !photo.steps.length, on: { click: back } }, "Take back"),
      el("button", { "data-key": "found", disabled: !photo.line.pulls.length, on: { click: () => { remember(); photo.line.pulls = []; draw(); trace("pulled"); } } }, "As it was found")),
    el("p", { class: "soft" }, figures),
  ];
}

function holesLeaf() {
  const { openings } = photo.told;
  if (!openings.length) return [el("p", {}, "No place in the part shows what it lies on. If there is a hole in it, lay it so that the ground is seen through.")];
  return [
    el("p", {}, "What shows the ground inside the part. Touch it: open, or closed and painted over."),
    el("div", { class: "choices" }, openings.map((one, i) => choice(`${i + 1}: ${photo.keep[i] ? "open" : "closed"}`, photo.keep[i], () => keep(i), { "data-key": `says ${i}` }))),
  ];
}

function sizeLeaf() {
  const { known, scale, notes } = photo.told;
  const papers = [["", "found by itself"], ["A4", "A4"], ["Letter", "Letter"], ["frame", "printed frame"]];
  return [
    known ? el("p", { class: "verdict n" }, sizeWords().split(" (")[0], el("small", {}, sizeWords().split(/[()]/)[1])) : el("p", { class: "verdict" }, "How large is it?"),
    el("p", {}, known ? `${scale.charAt(0).toUpperCase()}${scale.slice(1)}. Check it with a rule.` : "No sheet of paper was found in the photo. Give one length you know."),
    el("fieldset", {}, el("legend", { class: "soft" }, "The sheet beside it"),
      el("div", { class: "choices" }, papers.map(([paper, words]) => choice(words, (photo.options.paper || "") === paper && !photo.options.marks, () => { drop("marks"); photo.options.paper = paper || null; trace(); }, { "data-key": `paper ${paper}` })))),
    el("label", { class: "field" }, "Or its own width, at its widest", length("width", photo.options.part_width, (text) => { photo.options.part_width = text || null; trace(); })),
    el("fieldset", {}, el("legend", { class: "soft" }, "Or one known length"),
      el("div", { class: "choices" }, choice(photo.mode === "to" ? "Touch the other end" : photo.mode === "from" ? "Touch one end" : "Touch its two ends", Boolean(photo.mode), () => { delete points.from; delete points.to; ready("from"); drawMarks(); }, { "data-key": "ends" })),
      points.from && points.to ? el("label", { class: "field" }, "From 1 to 2 it is", length("marks", photo.options.marks && photo.options.marks.length, (text) => {
        drop("marks");
        if (text) { photo.options.marks = { from: share(points.from), to: share(points.to), length: text }; photo.options.paper = null; }
        trace();
      })) : null),
    notes.length ? el("details", {}, el("summary", {}, "What this rests on"), el("ul", { class: "why" }, notes.map((note) => el("li", {}, note)))) : null,
  ];
}

function drop(name) { delete photo.options[name]; }

function length(name, value, take) {
  return el("input", { type: "text", value: value || "", placeholder: "320 mm or 12 1/2 in", autocomplete: "off", "data-key": `length ${name}`, on: { change: (event) => take(event.target.value.trim()) } });
}

function wrongLeaf() {
  const one = (name, words) => choice(photo.mode === name ? "Now touch it in the photo" : words, photo.mode === name, () => ready(name), { "data-key": `point ${name}` });
  return [
    el("p", {}, "Was another thing taken for the part, or the ground for it? Name a place."),
    photo.told ? el("div", { class: "choices" }, one("at", "This is the part"), one("background", "This is what it lies on")) : null,
    photo.options.at || photo.options.background ? el("button", { "data-key": "unpoint", on: { click: () => { drop("at"); drop("background"); forget(); trace(); } } }, "Forget both") : null,
    el("p", { class: "soft" }, "If nothing helps: lay it on a plain sheet of another tone, some of it to be seen all round, and take the photo from straight above, without flash."),
  ];
}

