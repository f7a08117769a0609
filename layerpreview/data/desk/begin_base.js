/* What it is painted over: the photo itself, three photos with the lamp at three sides, or a made base as a real chip. */
import { hand } from "./begin_ask.js";
import { photo } from "./begin_photo.js";
import { el, svg, byId, press, redraw, sync, choice } from "./dom.js";

export const base = { name: null, kind: "metal", lamps: {} };
const KINDS = [["metal", "silver or another metal"], ["wood", "wood"], ["solid", "white or a colour"]];
const SIDES = ["left", "top", "right"];

export function freshBase(fromPhoto) {
  Object.assign(base, { name: fromPhoto ? "photo" : null, kind: "metal", lamps: {} });
}

const LAMPS = "M20 34h20v14H20ZM6 41h8M6 37v8M30 12v8M26 12h8M54 41h-8M54 37v8";

/* Seen before they are asked for, one after the other, so that they are there by then. */
export async function fetchChips(bases) {
  for (const { name } of bases) await fetch(chipOf(name)).catch(() => {});
}

const chipOf = (name) => `/begin/chip.jpg?base=${encodeURIComponent(name)}`;

/* `bases`: the made ones; `fromPhoto`: whether there is a photo whose own surface can be taken. */
export function drawBase(bases, fromPhoto, changed) {
  const all = [bases, fromPhoto, changed];
  const own = fromPhoto ? [
    ["photo", "This photo", "your own surface, as it was lit that day", () => el("img", { src: byId("shown").src, alt: "" })],
    ["lamps", "Three photos", "it glints and turns: lamp at three sides", () => svg("svg", { viewBox: "0 0 60 60", "aria-hidden": "true", focusable: "false" }, svg("path", { d: LAMPS }))],
  ] : [];
  const made = bases.map(({ name, words }) => [name, words, "", () => el("img", { src: chipOf(name), alt: "" })]);
  sync(byId("chips"), [...own, ...made], ([name]) => name, ([name, words, more, picture]) => {
    const pick = () => { base.name = name; drawBase(...all); };
    const node = choice("", false, pick);
    node.append(picture(), el("b", {}, words), more ? el("small", {}, more) : "");
    return node;
  }, (node, [name]) => press(node, base.name === name));
  redraw(byId("about"), base.name === "photo" ? kinds(...all) : base.name === "lamps" ? lamps(...all) : null);
  byId("base-next").disabled = !base.name || (base.name === "lamps" && !lampsReady());
  changed();
}

function kinds(...all) {
  return el("fieldset", {}, el("legend", { class: "soft" }, "What the photo shows"),
    el("div", { class: "choices" }, KINDS.map(([kind, words]) => choice(words, base.kind === kind, () => { base.kind = kind; drawBase(...all); }, { "data-key": `kind ${kind}` }))));
}

const lampsReady = () => SIDES.every((side) => base.lamps[side]) && SIDES.some((side) => base.lamps[side].id === photo.id);

/* Camera on a stand, room dark, one lamp low beside the part: left of it, above it, right of it. */
function lamps(...all) {
  const mine = SIDES.find((side) => base.lamps[side] && base.lamps[side].id === photo.id);
  return [
    el("p", {}, "Three photos from the same place, the part and the camera not moved, the room dark: one lamp low at its left, then above it, then at its right. First say where the lamp stood in the photo you have, then add the other two."),
    el("div", { class: "choices", role: "group", "aria-label": "In the photo you have the lamp stood" }, SIDES.map((side) => choice(`lamp ${side === "top" ? "above" : `at its ${side}`} in this photo`, mine === side, () => {
      if (mine) delete base.lamps[mine];
      base.lamps[side] = { id: photo.id, url: byId("shown").src };
      drawBase(...all);
    }, { "data-key": `mine ${side}` }))),
    el("div", { class: "lamps" }, SIDES.map((side) => {
      const there = base.lamps[side];
      const file = el("input", { type: "file", accept: "image/*", class: "unseen", "aria-label": `Photo with the lamp ${side === "top" ? "above" : `at its ${side}`}`, on: { change: async (event) => {
        const given = event.target.files[0];
        const told = given && await hand("photo", given);
        if (told) base.lamps[side] = { id: told.id, url: URL.createObjectURL(given) };
        drawBase(...all);
      } } });
      return el("label", { class: "lamp" }, there ? el("img", { src: there.url, alt: "" }) : null, el("b", {}, side === "top" ? "lamp above" : `lamp ${side}`), there ? null : el("span", { class: "soft" }, "add it"), there && there.id === photo.id ? null : file);
    })),
  ];
}

export function baseAsked() {
  const lamps = Object.fromEntries(SIDES.filter((side) => base.lamps[side]).map((side) => [side, base.lamps[side].id]));
  return { base: base.name, kind: base.name === "photo" ? base.kind : "metal", ...(base.name === "lamps" ? { lamps } : {}) };
}

