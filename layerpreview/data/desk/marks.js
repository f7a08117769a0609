/* What lies on the picture: the mark of the section, the thread of a burst with its mm, and what was touched. */

import { byId, el, redraw, setText, svg, sync, tell } from "./dom.js";
import { edit, letGo, look, on, pull, store, widthOf } from "./store.js";
import { burstFrom, length } from "./say.js";
import { picture } from "./picture.js";
import { spot } from "./strips.js";
import { under } from "./turning.js";
import { awayMm, faded, startsOn } from "./rings.js";
import * as mend from "./mend.js";
import * as tape from "./tape.js";

const STEP_MM = 2, FAR_MM = 10, TAG_AWAY_PX = 62;
/* A tag on the picture takes about so much of it, and keeps so far from its edges [px]. */
const TAG_PX = [92, 48], RIM_PX = [48, 40];
/* The tag that is pulled, and where the hand is. */
let pulled = null;

export function begin() {
  on("drawn picture", place);
  on("look state spot", () => { place(); card(); });
}

/* Something on the part was touched: the section goes there, a tape line is laid, or it is a place of a damage. */
export function touched(at) {
  if (!at) return;
  if (store.look.tape) return tape.touched(at);
  if (mend.touches()) return mend.add(at);
  look({ spot: { face: at.face, x_mm: at.x_mm, y_mm: at.y_mm } });
}

function box() { return byId("view").getBoundingClientRect(); }

function onScreen(face, point) {
  const at = picture.live && picture.data ? picture.live.place(face, point[0], point[1]) : null;
  if (!at) return null;
  const frame = box();
  return { x: at.x - frame.left, y: at.y - frame.top, seen: at.seen };
}

function place() {
  if (!store.state || !store.state.faces) return;
  const lines = [], tags = [];
  const section = spotMark(lines);
  if (section) tags.push(section.tag);
  bursts(lines, tags, section ? [section.tag, section.on] : []);
  tape.draw(lines, onScreen);
  mend.drawOn(lines, onScreen);
  byId("threads").replaceChildren(...lines);
  sync(byId("marks"), tags, (tag) => tag.key, (tag) => tag.make(), (node, tag) => {
    node.style.setProperty("--x", `${tag.x.toFixed(1)}px`);
    node.style.setProperty("--y", `${tag.y.toFixed(1)}px`);
    tag.change(node);
  });
}

function thread(d) { return [svg("path", { class: "cased", d }), svg("path", { class: "thread", d })]; }

function spotMark(lines) {
  const at = store.look.spot, on = at && onScreen(at.face, [at.x_mm, at.y_mm]);
  if (!on || !on.seen) return null;
  const frame = box(), side = on.x > TAG_AWAY_PX + 24 ? -1 : 1, x = on.x + side * TAG_AWAY_PX, y = Math.min(frame.height - 24, Math.max(24, on.y));
  lines.push(...thread(`M${x.toFixed(1)} ${y.toFixed(1)}L${(on.x + side * 9).toFixed(1)} ${on.y.toFixed(1)}`));
  for (const name of ["cased", "thread"]) lines.push(svg("circle", { class: name, cx: on.x.toFixed(1), cy: on.y.toFixed(1), r: 8 }));
  const tag = {
    key: "spot", x, y,
    make: () => el("button", { type: "button", class: "on-part spot", on: { keydown: moveSpot } }, el("b", {}, "A")),
    change: (node) => node.setAttribute("aria-label", `Section at A: ${spot.told ? spot.told.place : at.face}. Arrow keys move it.`),
  };
  return { tag, on };
}

function moveSpot(event) {
  const step = event.shiftKey ? 4 * FAR_MM : FAR_MM / 2;
  const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
  if (!by || event.altKey || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  const at = store.look.spot, face = store.state.faces.find((one) => one.name === at.face);
  const within = (value, most) => Math.min(most, Math.max(0, value));
  look({ spot: { face: at.face, x_mm: within(at.x_mm + by[0], face.width_mm), y_mm: within(at.y_mm + by[1], face.height_mm) } });
}

/* The threads of the open coat's bursts: where each has faded out. `taken`: places that their tags leave free. */
function bursts(lines, tags, taken) {
  const { bench, open, spot: at } = store.look, coat = bench === "mix" && typeof open === "number" && open >= 0 ? store.state.coats[open] : null;
  if (!coat) return;
  const found = coat.bursts.flatMap((burst, k) => {
    const face = store.state.faces.find((one) => coat.faces.includes(one.name) && (!at || one.name === at.face) && startsOn(one, burst));
    const seen = face ? faded(face, burst, widthOf(open, k)).flatMap(({ points, closed }) => drawn(lines, face, points, closed)) : [];
    return seen.length ? [{ burst, k, face, seen }] : [];
  });
  // The shortest threads have the fewest places for a tag: they choose first.
  for (const one of [...found].sort((a, b) => a.seen.length - b.seen.length)) {
    one.at = pulled && pulled.key === `${open},${one.k}` ? nearest(one.seen, pulled) : freest(one.seen, taken);
    taken.push(one.at);
  }
  for (const { burst, k, face, at: place_ } of found) tags.push(tagOf(open, k, burst, face, place_));
}

/* One line of a thread; gives the places of it that are seen. */
function drawn(lines, face, points, closed) {
  const on = points.map((point) => onScreen(face.name, point)).filter(Boolean), seen = on.filter((one) => one.seen);
  if (on.length > 2 && seen.length) lines.push(...thread(`M${on.map((one) => `${one.x.toFixed(1)} ${one.y.toFixed(1)}`).join("L")}${closed ? "Z" : ""}`));
  return seen;
}

/* Of the places for a tag the lowest at the right that lies on no other tag, nor over the edge of the picture. */
function freest(places, taken) {
  const frame = box(), low = (a, b) => (b.x + b.y > a.x + a.y ? b : a);
  const room = (one) => Math.min(...taken.map((other) => Math.max(Math.abs(one.x - other.x) / TAG_PX[0], Math.abs(one.y - other.y) / TAG_PX[1])));
  const within = places.filter((one) => one.x > RIM_PX[0] && one.x < frame.width - RIM_PX[0] && one.y > RIM_PX[1] && one.y < frame.height - RIM_PX[1]);
  const some = within.length ? within : places, free = some.filter((one) => room(one) >= 1);
  return free.length ? free.reduce(low) : some.reduce((a, b) => (room(b) > room(a) ? b : a));
}

/* A tag that is pulled stays at the hand. */
function nearest(places, { x, y }) {
  const frame = box(), away = (one) => Math.hypot(one.x + frame.left - x, one.y + frame.top - y);
  return places.reduce((a, b) => (away(b) < away(a) ? b : a));
}

function tagOf(i, k, burst, face, at) {
  const key = `${i},${k}`;
  return {
    key: `width ${key}`, x: at.x, y: at.y,
    make: () => {
      const node = el("div", { class: "on-part width", role: "slider", tabindex: "0" }, el("b", { class: "n" }));
      node.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        event.stopPropagation();
        node.focus({ preventScroll: true });
        node.setPointerCapture(event.pointerId);
        pulled = { key, x: event.clientX, y: event.clientY };
      });
      node.addEventListener("pointermove", (event) => {
        if (!pulled || pulled.key !== key) return;
        Object.assign(pulled, { x: event.clientX, y: event.clientY });
        const on = under(event.clientX, event.clientY);
        if (on && on.face === face.name) pull("widths", key, Math.max(1, Math.round(awayMm(face, burst, [on.x_mm, on.y_mm]))));
      });
      for (const end of ["pointerup", "pointercancel"]) node.addEventListener(end, () => { if (pulled && pulled.key === key) { pulled = null; write(i, k); place(); } });
      node.addEventListener("keydown", (event) => {
        const step = event.shiftKey ? FAR_MM : STEP_MM / 2, way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
        if (!way || event.altKey || event.ctrlKey || event.metaKey) return;
        event.preventDefault();
        pull("widths", key, Math.max(1, widthOf(i, k) + way * step));
        clearTimeout(node.resting);
        node.resting = setTimeout(() => write(i, k), 450);
      });
      return node;
    },
    change: (node) => {
      const mm = widthOf(i, k), told = { "aria-label": `${store.state.coats[i].name}: width of the burst from ${burstFrom(burst)}`, "aria-valuemin": 1, "aria-valuemax": Math.round(Math.max(face.width_mm, face.height_mm)), "aria-valuenow": Math.round(mm), "aria-valuetext": length(mm) };
      for (const [name, value] of Object.entries(told)) node.setAttribute(name, String(value));
      setText(node.firstChild, length(mm));
    },
  };
}

function write(i, k) {
  const key = `${i},${k}`, mm = store.pulled.widths[key], coat = store.state.coats[i];
  if (mm === undefined) return;
  letGo("widths", key, `${coat.name}: ${length(mm)} wide`, mm === coat.bursts[k].width_mm ? [] : [{ do: "set", at: ["coat", i, "burst", k, "width"], to: `${mm} mm` }]);
}

/* What an unmasked zone keeps there is nothing to say of. */
function mask(one, face, zone) {
  const at = ["face", face, "zone", zone], { under } = store.state.faces[face].zones[zone];
  const gone = one.masked && under ? [{ do: "unset", at: [...at, "under"] }] : [];
  edit(`${one.name} ${one.masked ? "unmasked" : "masked"}`, [...gone, { do: "set", at: [...at, "masked"], to: !one.masked }]);
}

/* What was touched, where it is an opening or a zone: what it is, how large, masked or not. */
function card() {
  const told = spot.told, here = store.look.tape ? null : told && told.within;
  const place = byId("touched");
  if (store.look.tape) return tape.card(place);
  if (!here || !here.length || told.version !== store.state.version) return redraw(place);
  redraw(place, here.map((one) => {
    const face = store.state.faces.findIndex((face_) => face_.name === told.face), zone = one.kind === "zone" ? store.state.faces[face].zones.findIndex((zone_) => zone_.name === one.name) : -1;
    const words = `${one.name}: ${length(one.width_mm)} by ${length(one.height_mm)}${one.kind === "opening" ? ", an opening" : one.masked ? ", masked: no paint from any coat" : ", a zone"}`;
    const button = zone < 0 ? null : el("button", {
      type: "button", "data-key": `mask ${one.name}`, on: { click: () => { tell(one.masked ? "unmasked" : "masked"); mask(one, face, zone); } },
    }, one.masked ? "Take the mask off" : "Mask it");
    return el("p", {}, el("span", {}, words), button);
  }));
}
