/* Which strips the section has at the spot that was touched, how thick they are now and how tall they are drawn. */

import { coatsOf, filmUmOf, stateOf, store } from "./store.js";
import { coats, filmOne } from "./say.js";
import { GROUND_UM } from "./section_draw.js";

const LANDS = 0.02, LEAST_PX = 56, CLEAR_SHARE = 0.3, BASE_SHARE = 0.26, MOST_COATS = 60, LADDER = 8;

/* The answer of /api/spot that fits the state, or null. */
export const spot = { told: null };

export function label(i) {
  const coat = store.state.coats[i];
  return `${i + 1} ${coat.name}`;
}

export function lands(i) { return Boolean(spot.told) && (spot.told.builds[i] || 0) > LANDS; }

/* The state that the spot was told of; null where its coats are others than those of now, so that it cannot be drawn. */
export function toldState() {
  const before = spot.told && stateOf(spot.told.version), { state } = store;
  const same = before && before.coats.length === state.coats.length && before.coats.every((coat, i) => coat.name === state.coats[i].name);
  return same ? before : null;
}

/* By how much the film of a coat is now what the spot was told of. */
function pulledBy(i) {
  const before = toldState(), { clear } = store.state;
  if (i === "clear") return (store.pulled.coats.clear ?? clear.coats) * filmUmOf("clear") / (before.clear.coats * before.clear.film.likely);
  const coat = before.coats[i];
  return coatsOf(i) * filmUmOf(i) / (coat.coats * coat.film_um.likely);
}

function times(range, factor) { return { low: range.low * factor, likely: range.likely * factor, high: range.high * factor }; }

/* Strips from the top: {key, kind, i, name, um {low, likely, high}, colour, coats, off}. */
export function stripsNow() {
  const { state, look } = store, told = spot.told;
  if (!told) return [];
  const films = Object.fromEntries(told.layers.map((layer) => [layer.coat, layer.dry_um]));
  const strips = [{
    key: "clear", kind: "clear", i: "clear", name: "Clear", um: times(films.clear, pulledBy("clear")),
    coats: store.pulled.coats.clear ?? state.clear.coats, off: look.after !== null,
  }];
  for (let i = state.coats.length - 1; i >= 0; i -= 1) {
    if (!lands(i)) continue;
    const coat = state.coats[i];
    strips.push({
      key: `coat ${i}`, kind: "coat", i, name: label(i), um: times(films[i], pulledBy(i)), colour: colourOf(i), coats: coatsOf(i),
      opaque: coat.kind === "opaque", off: look.after !== null && i > look.after,
    });
  }
  const base = { low: told.base_um, likely: told.base_um, high: told.base_um };
  strips.push({ key: "base", kind: "base", i: -1, name: baseName(), um: base, colour: told.after[0], coats: null, off: false });
  return strips;
}

/* The colour of the place after a coat; from its ladder while it is pulled. */
function colourOf(i) {
  const told = spot.told, ladder = told.ladders && told.ladders[i];
  const was = toldState().coats[i].coats, rung = ladder && Math.round(was * pulledBy(i));
  return rung && rung !== was && ladder[rung - 1] || told.after[i + 1];
}

/* Whether the spot lies under a mask: no coat reaches it. */
export function masked() { return Boolean(spot.told) && (spot.told.within || []).some((one) => one.masked); }

export function faceNow() {
  const at = store.look.spot;
  return store.state.faces.find((face) => at && face.name === at.face) || store.state.faces[0];
}

export function baseName() {
  if (masked()) return "Masked";
  const kind = faceNow().base_kind;
  return { metal: "Silver base", wood: "Wood", colour: "Base colour", solid: "Base colour" }[kind] || "Base";
}

/* Between how many coats it can be pulled. */
export function reach(i) {
  const coat = i === "clear" ? store.state.clear : store.state.coats[i];
  return { least: 1, most: Math.min(MOST_COATS, Math.max(coat.most || 0, LADDER, coat.coats)) };
}

/* "50 µm wet, 3 coats": the two numbers that a strip's tag pulls. */
export function wetWords(strip) { return `${filmOne(filmUmOf(strip.i))} wet, ${coats(strip.coats)}`; }

/*
 * Heights in pixels of a drawing about `high` tall, and the two scales behind them [px per um]: clear and base share
 * what is left to them, dyes are drawn taller, and no strip is less than a finger.
 */
export function heights(strips, high, held) {
  const dyes = strips.filter((strip) => strip.kind === "coat"), clear = strips[0];
  const rows = { clear: Math.max(90, high * CLEAR_SHARE), base: Math.max(80, high * BASE_SHARE) };
  const rest = Math.max(LEAST_PX * dyes.length, high - rows.clear - rows.base);
  const all = dyes.reduce((sum, strip) => sum + strip.um.likely, 0) || 1;
  let perUm = held || rest / all;
  if (!held) {
    const short = dyes.filter((strip) => strip.um.likely * perUm < LEAST_PX), tall = all - short.reduce((s, one) => s + one.um.likely, 0);
    if (short.length && tall > 0) perUm = Math.min(perUm, Math.max(1, (rest - LEAST_PX * short.length) / tall));
  }
  const drawn = strips.map((strip) => (strip.kind === "coat" ? Math.max(LEAST_PX, strip.um.likely * perUm) : rows[strip.kind]));
  const taller = dyes.some((strip) => strip.um.likely * perUm < LEAST_PX - 0.5);
  return { rows: drawn, perUm, times: perUm / (rows.clear / Math.max(clear.um.likely, 1)), taller };
}

/* The bar of the core's scale: how long, of the core's height, and what it says. */
export function bar(um) {
  const all = um.reduce((a, b) => a + b, 0) + GROUND_UM, long = [200, 100, 50, 20].find((one) => one < 0.6 * all) || 10;
  return { share: long / all, words: `${long} µm, ${(long / 25.4).toFixed(1)} mil` };
}
