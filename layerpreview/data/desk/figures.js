/* Figures beside the picture: amounts, work, cost, film, always with their range and what they rest on. */

import { byId, el, redraw } from "./dom.js";
import { afterPicture, ask, on, pulling, store } from "./store.js";
import { capital, film, ranged, short, volume } from "./say.js";

const REST_MS = 200, SHOWN = 3;
let told = null, timer = null, asked = null, turn = 0;

export function begin() {
  on("state", () => { clearTimeout(timer); timer = setTimeout(fetchThem, told ? REST_MS : 0); busy(); });
  on("pull", busy);
  on("look", (changes) => { if ("bench" in changes || "spot" in changes) draw(); });
}

async function fetchThem() {
  const own = turn += 1;
  await afterPicture();
  if (own !== turn || !store.state.coats) return;
  const mine = asked = store.state.version, [status, found] = await ask("/api/figures");
  if (mine !== asked) return;
  if (status === 200) { told = found; draw(); } else if (status) redraw(byId("figures"), (found.problems || []).map((line) => el("p", {}, line)));
}

/* What is being worked out is marked, and stays to be read. */
function busy() {
  const leaf = byId("figures"), now = pulling() || !told || told.version !== store.state.version;
  leaf.setAttribute("aria-busy", String(now));
  const word = leaf.querySelector(".working");
  if (word) word.textContent = now ? "Being worked out. " : "";
}

function one(name, big, ...lines) {
  return el("div", {}, el("dt", {}, name), el("dd", { class: "n" }, big), lines.filter(Boolean).map((line) => el("dd", { class: "n" }, line)));
}

function split(text) {
  const found = /^(\S+) (\(.*\)) (\S.*)$/.exec(text);
  return found ? [`${found[1]} ${found[3]}`, found[2].slice(1, -1)] : [text, null];
}

function amounts() {
  const { mixes } = told.figures, sheet = told.sheet.mixes;
  return Object.entries(mixes).map(([name, range]) => {
    const [likely, between] = split(volume(range)), made = sheet.find((mix) => mix.title === name || mix.key === name);
    const dyes = made ? made.ingredients.filter((part) => part.kind === "dye").slice(0, SHOWN).map((part) => ingredient(part, range.likely)) : [];
    return one(`${capital(name)} to spray`, likely, between, ...dyes);
  });
}

/* A dye in drops and millilitres, of the likely amount. */
function ingredient(part, mL) {
  const own = part.share * mL, drops = part.drops_per_mL ? `${Math.round(own * part.drops_per_mL.likely)} drops, ` : "";
  return `${part.name} ${drops}${short(own)} mL`;
}

function work() {
  const known = told.sheet.times.filter((time) => time.minutes), open = told.sheet.times.length > known.length;
  const hands = known.filter((time) => time.hands_on), wait = known.filter((time) => !time.hands_on);
  const sum = (list) => list.reduce((all, time) => ({ low: all.low + time.minutes.low, likely: all.likely + time.minutes.likely, high: all.high + time.minutes.high }), { low: 0, likely: 0, high: 0 });
  const [likely, between] = split(ranged(sum(hands), "h", 1 / 60)), [, dry] = split(ranged(sum(wait), "h", 1 / 60));
  const cost = told.sheet.cost_total ? `cost ${Math.round(told.sheet.cost_total)} ${told.sheet.currency || ""}` : null;
  return one("Work, hands on", likely, [between, dry && `then dry ${dry}`].filter(Boolean).join("; "), open && "without what the scheme does not say", cost);
}

function films() {
  const all = Object.entries(told.sheet.total_dry_um), here = store.look.spot ? store.look.spot.face : "", burial = told.sheet.burial;
  const [face, range] = all.find(([name]) => name === here) || all[0], [likely, between] = split(film(range));
  const others = all.filter(([name]) => name !== face).slice(0, SHOWN).map(([name, one_]) => `${name} ${film(one_)}`);
  const buried = burial && Number.isFinite(burial.coats_low) ? `relief buried by ${burial.coats_low === burial.coats_high ? burial.coats_low : `${burial.coats_low} to ${burial.coats_high}`} coats of clear` : null;
  return one(`Film on the ${face}`, likely, between, buried, ...others);
}

function draw() {
  if (!told) return;
  const cautions = [...(store.state.cautions || []).map(capital), ...told.figures.cautions.map(String), ...told.sheet.cautions.map((one) => `${one.title}: ${one.text}`)];
  const rests = [...new Set(Object.values(told.figures.mixes).flatMap((range) => range.basis.split("; ")))];
  redraw(byId("figures"),
    el("dl", { class: "figures" }, amounts(), work(), films()),
    el("p", { class: "soft rests" }, el("b", { class: "working" }), `Rests on: ${rests.join("; ")}. All figures are approximate.`),
    cautions.length ? el("ul", { class: "cautions", "aria-label": "Cautions" }, cautions.map((line) => el("li", {}, line))) : null);
  busy();
}
