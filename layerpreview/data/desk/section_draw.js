/* The drawing of the film section: a core to one true scale, and the same coats as strips that a finger can take. */

import { svg } from "./dom.js";

export const GROUND_UM = 22;
const WIDTH = 360, CORE_WIDTH = 72, CORE_EDGE = 34, FACETS = 9, METAL_PX = 24, CLEAR = "#eef1f1";
const FOLLOWS = 0.24, LEVELS = 0.6;
/* Heights and gains of the facets along the section, as a section shows them: drawn, not measured. */
const HEIGHTS = [0.11, 0.62, 0.27, 0.84, 0.2, 0.97, 0.33, 0.72, 0.08, 0.66];
const GAINS = [0.66, 1.5, 0.62, 1.44, 0.7, 1.62, 0.64, 1.38, 0.72];

function linear(hex) {
  return [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16) / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
}

/* A colour as a facet shows it that sends back so many times the light. */
export function gained(hex, gain) {
  return "#" + linear(hex).map((v) => Math.min(1, v * gain)).map((v) => (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055))
    .map((v) => Math.round(255 * v).toString(16).padStart(2, "0")).join("");
}

function points(list) { return list.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" "); }

/* The upper edges of the strips, the topmost first: each follows the relief less than the one below it. */
function edges(rows, relief) {
  const total = rows.reduce((a, b) => a + b, 0), n = rows.length, steps = FACETS;
  let top = 0;
  const made = rows.map((row, i) => {
    const damped = i === n - 1 ? 1 : i === 0 ? 0 : FOLLOWS * LEVELS ** (n - 2 - i);
    const edge = HEIGHTS.map((h, k) => [k / steps * WIDTH, top + (0.5 - h) * relief * damped]);
    top += row;
    return edge;
  });
  return [...made, HEIGHTS.map((_, k) => [k / steps * WIDTH, total])];
}

/*
 * The strips, `rows` their heights from the top [px]: each {kind: "clear" | "coat" | "base", colour, off}. `metal`: the base
 * is one that flashes; `relief` its height as drawn [px].
 */
export function sectionDrawing(strips, rows, { metal, relief }) {
  const total = rows.reduce((a, b) => a + b, 0), lines = edges(rows, relief);
  const out = svg("svg", { viewBox: `0 0 ${WIDTH} ${total.toFixed(1)}`, preserveAspectRatio: "none", "aria-hidden": "true", focusable: "false" });
  strips.forEach((strip, i) => {
    const up = lines[i], low = lines[i + 1], around = points([...up, ...[...low].reverse()]);
    if (strip.off) out.append(svg("polygon", { points: around, fill: "#f5f5f5" }));
    else if (strip.kind === "clear") out.append(svg("polygon", { points: around, fill: CLEAR }), svg("polygon", { points: around, fill: "url(#glass)" }));
    else if (strip.kind === "base") out.append(...base(up, total, strip.colour, metal));
    else out.append(...facets(up, low, strip.colour, metal && !strip.opaque));
    if (i > 0) out.append(svg("polyline", { points: points(up), class: `face${strip.off ? " off" : ""}` }));
  });
  out.append(svg("path", { d: `M0 .75H${WIDTH}`, class: `face${strips[0].off ? " off" : ""}` }));
  return out;
}

function facets(up, low, colour, metal) {
  return GAINS.map((gain, k) => svg("polygon", {
    points: points([up[k], up[k + 1], low[k + 1], low[k]]), fill: metal ? gained(colour, gain) : colour,
  }));
}

function base(up, total, colour, metal) {
  const under = up.map(([x, y]) => [x, y + METAL_PX]), ground = points([...under, [WIDTH, total], [0, total]]);
  return [
    ...facets(up, under, colour, metal),
    svg("polygon", { points: ground, fill: "#d4d4d4" }),
    svg("polygon", { points: ground, fill: "url(#ground)", opacity: "0.55" }),
    svg("polyline", { points: points(under), class: "face" }),
  ];
}

/* The core: the same strips to one scale, `um` their films, and lines that lead to the strips as drawn. */
export function coreDrawing(strips, rows, um) {
  const high = rows.reduce((a, b) => a + b, 0), all = um.reduce((a, b) => a + b, 0) + GROUND_UM, scale = high / all;
  const out = svg("svg", { viewBox: `0 0 ${CORE_WIDTH} ${high.toFixed(1)}`, preserveAspectRatio: "none", "aria-hidden": "true", focusable: "false" });
  let y = 0, drawn = 0;
  strips.forEach((strip, i) => {
    const next = y + um[i] * scale, below = drawn + rows[i], fill = strip.kind === "clear" ? CLEAR : strip.colour;
    out.append(svg("rect", { x: 0, y, width: CORE_EDGE, height: next - y, fill }));
    if (i > 0) out.append(svg("path", { d: `M${CORE_EDGE} ${y}L${CORE_WIDTH} ${drawn}`, class: "lead" }));
    if (strip.kind === "coat") {
      out.append(svg("polygon", { points: points([[CORE_EDGE, y], [CORE_WIDTH, drawn], [CORE_WIDTH, below], [CORE_EDGE, next]]), fill, opacity: "0.16" }));
    }
    out.append(svg("path", { d: `M0 ${y}H${CORE_EDGE}`, class: "face" }));
    y = next;
    drawn = below;
  });
  const ground = { x: 0, y, width: CORE_EDGE, height: Math.max(0, high - y) };
  out.append(svg("rect", { ...ground, fill: "#d4d4d4" }), svg("rect", { ...ground, fill: "url(#ground)", opacity: "0.55" }));
  out.append(svg("path", { d: `M0 ${y}H${CORE_EDGE}M${CORE_EDGE} 0V${high}M0 0V${high}`, class: "face" }));
  return out;
}
