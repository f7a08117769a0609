/* Numbers into words and back, in the shop's units. */

import { store } from "./store.js";

const MM_PER_INCH = 25.4, UM_PER_MIL = 25.4, ML_PER_OZ = 29.5735;

export function inches() { return Boolean(store.state) && store.state.units === "US"; }

/* To so many digits that count. */
export function short(value, digits = 2) {
  if (!Number.isFinite(value)) return "?";
  if (value === 0) return "0";
  const places = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
  const rounded = Number(value.toFixed(Math.min(places, 6)));
  return Math.abs(rounded) >= 100 ? String(Math.round(rounded)) : String(rounded);
}

/* "24 (17 to 33) um" of low, likely and high. */
export function ranged(range, unit, times = 1, digits = 2) {
  const middle = Math.abs(range.likely * times) || 1, places = Math.min(6, Math.max(0, digits - 1 - Math.floor(Math.log10(middle))));
  const [low, likely, high] = [range.low, range.likely, range.high].map((value) => String(Number((value * times).toFixed(places))));
  return low === high ? `${likely} ${unit}` : `${likely} (${low} to ${high}) ${unit}`;
}

export function film(range) { return inches() ? ranged(range, "mil", 1 / UM_PER_MIL) : ranged(range, "µm", 1, range.likely >= 100 ? 3 : 2); }

export function filmOne(um) { return inches() ? `${short(um / UM_PER_MIL)} mil` : `${short(um)} µm`; }

/* A wet film as it is written into the scheme, in the shop's unit. */
export function filmWritten(um) { return inches() ? `${Number((um / UM_PER_MIL).toFixed(2))} mil` : `${Number(um.toFixed(1))} um`; }

/* By what step a wet film is pulled [um]: a round number of the shop's unit. */
export function filmStepUm() { return inches() ? 0.2 * UM_PER_MIL : 5; }

export function length(mm) { return inches() ? `${short(mm / MM_PER_INCH, 3)} in` : `${short(mm, mm < 10 ? 2 : 3)} mm`; }

/* What a burst starts at, in words. */
export function burstFrom({ from }) { return { outline: "the outer edge", openings: "the openings", line: "the line", centre: "the point" }[from] || `the edge of ${from}`; }

export function volume(range) { return inches() ? ranged(range, "fl oz", 1 / ML_PER_OZ, 2) : ranged(range, "mL", 1, range.likely >= 100 ? 3 : 2); }

export function coats(count) { return `${count} ${count === 1 ? "coat" : "coats"}`; }

export function capital(text) { return text.charAt(0).toUpperCase() + text.slice(1); }

function number(text) {
  const found = /^\s*([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*(.*?)\s*$/.exec(text);
  return found ? [Number(found[1].replace(",", ".")), found[2].toLowerCase()] : null;
}

/* Millimetres of what was typed, or null. */
export function readLength(text) {
  const found = number(text);
  if (!found) return null;
  const per = { mm: 1, cm: 10, in: MM_PER_INCH, inch: MM_PER_INCH, inches: MM_PER_INCH, '"': MM_PER_INCH, "": inches() ? MM_PER_INCH : 1 }[found[1]];
  return per ? found[0] * per : null;
}

/* Micrometres of what was typed, or null. */
export function readFilm(text) {
  const found = number(text);
  if (!found) return null;
  const per = { um: 1, "µm": 1, "μm": 1, mil: UM_PER_MIL, mils: UM_PER_MIL, "": inches() ? UM_PER_MIL : 1 }[found[1]];
  return per ? found[0] * per : null;
}

/* A strength as the scheme writes it: the number typed, in the unit typed or the one it had; null for none. */
export function readAmount(text, unit) {
  const found = number(text);
  if (!found || !(found[0] > 0)) return null;
  const given = /^\s*[0-9.,]+\s*(.*?)\s*$/.exec(text)[1];
  return { amount: found[0], unit: given || unit };
}

/* "today, 16:40" of a moment. */
export function moment(iso) {
  const when = new Date(iso), days = Math.round((new Date().setHours(0, 0, 0, 0) - new Date(iso).setHours(0, 0, 0, 0)) / 86_400_000);
  const time = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  return `${days === 0 ? "today" : days === 1 ? "yesterday" : when.toLocaleDateString()}, ${time}`;
}
