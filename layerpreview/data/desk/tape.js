/* A tape line, laid by two touches: the open coat then goes to one side of it. */

import { el, redraw, svg, tell } from "./dom.js";
import { edit, look, store } from "./store.js";
import { capital } from "./say.js";

/* Begin to lay a line for a coat; `places` are the touches so far. */
export function lay(i) {
  look({ tape: { coat: i, places: [] } });
  tell("Touch two places on the part; the tape runs through both.");
}

/* Clockwise from the top, as the scheme tells where a line heads [deg]. */
export function headingDeg(from, to) {
  return Math.round(10 * (Math.atan2(to.x_mm - from.x_mm, from.y_mm - to.y_mm) * 180 / Math.PI)) / 10;
}

export function touched(at) {
  const { coat, places } = store.look.tape, same = places.filter((one) => one.face === at.face);
  const now = [...same, at].slice(-2);
  look({ tape: { coat, places: now } });
  if (now.length === 2) tell("The tape lies. Choose the side that is sprayed.");
}

async function spray(turned) {
  const { coat, places: [from, to] } = store.look.tape, { state } = store, face = state.faces.findIndex((one) => one.name === from.face);
  const taken = new Set(state.faces.flatMap((one) => one.zones.map((zone) => zone.name)));
  let name = "tape";
  for (let k = 2; taken.has(name); k += 1) name = `tape ${k}`;
  const angle = headingDeg(from, to) + (turned ? 180 : 0), mm = (value) => `${value.toFixed(1)} mm`;
  const zone = { name, side: { at: [mm(from.x_mm), mm(from.y_mm)], angle: angle > 180 ? angle - 360 : angle } };
  look({ tape: null });
  await edit(`${state.coats[coat].name}: one side of a tape line`, [{ do: "add", at: ["face", face, "zone"], to: zone }, { do: "set", at: ["coat", coat, "zone"], to: name }]);
}

/* Which of the two sides is which, in words of the picture. */
function sides([from, to]) {
  const dx = to.x_mm - from.x_mm, dy = to.y_mm - from.y_mm, upright = Math.abs(dy) > Math.abs(dx);
  return upright ? (dy < 0 ? ["right", "left"] : ["left", "right"]) : dx > 0 ? ["below", "above"] : ["above", "below"];
}

export function card(place) {
  const { coat, places } = store.look.tape, name = store.state.coats[coat].name, cancel = el("button", { type: "button", "data-key": "cancel", on: { click: () => look({ tape: null }) } }, "No tape");
  if (places.length < 2) return redraw(place, el("p", {}, el("span", {}, places.length ? "Now a second place for the tape." : `A tape line for ${name}: touch two places on the part.`), cancel));
  const [own, other] = sides(places);
  const word = (side) => (side === "left" || side === "right" ? `Spray the ${side}` : `Spray ${side} it`);
  return redraw(place, el("p", {}, el("span", {}, `${capital(name)} goes to one side of the tape.`),
    el("button", { type: "button", class: "main", "data-key": "own", on: { click: () => spray(false) } }, word(own)),
    el("button", { type: "button", "data-key": "other", on: { click: () => spray(true) } }, word(other)), cancel));
}

export function draw(lines, onScreen) {
  if (!store.look.tape) return;
  const places = store.look.tape.places, at = places.map((one) => onScreen(one.face, [one.x_mm, one.y_mm])).filter(Boolean);
  for (const one of at) for (const name of ["cased", "thread"]) lines.push(svg("circle", { class: name, cx: one.x.toFixed(1), cy: one.y.toFixed(1), r: 7 }));
  if (at.length < 2) return;
  const [a, b] = at, beyond = (p, q) => `${(p.x + (p.x - q.x) * 20).toFixed(1)} ${(p.y + (p.y - q.y) * 20).toFixed(1)}`;
  for (const name of ["cased", "thread"]) lines.push(svg("path", { class: name, d: `M${beyond(a, b)}L${beyond(b, a)}` }));
}
