/* Judging by the picture: light and surroundings, thin to full film, twins and versions side by side, the screen itself. */

import { byId, choice, el, redraw } from "./dom.js";
import { look, on, store } from "./store.js";
import { asItStands, picture, straightOn, turn } from "./picture.js";
import { capital } from "./say.js";
import * as evenness from "./evenness.js";
import * as judging from "./judging.js";

const AROUND = { window: "by a window", even: "in even light", workshop: "in the workshop", sun: "in the sun", overcast: "under clouds", stage: "on a stage" };
const FILMS = { low: "Thin", likely: "Likely", high: "Full" };

export function aroundWords(name) { return AROUND[name] || `in ${name}`; }

export function lightWords(name) { return ((store.state.light_words || {})[name] || name).replace(/ \(.*\)$/, "").toLowerCase(); }

/* What is on which side of the picture. */
export function besideWords() {
  const { beside, film } = store.look;
  if (beside === "twins") return judging.twinFactors() ? "; left the pale twin, right the deep one" : "";
  if (beside) return "; left as it is now, right the kept version";
  return film === "likely" ? "" : `; ${film === "low" ? "thin" : "full"} film`;
}

export function begin() {
  on("state look judged", draw);
  judging.begin();
  evenness.begin();
}

function group(name, ...inside) { return el("fieldset", {}, el("legend", {}, name), inside); }

function draw() {
  const { state, look: now } = store;
  if (!state || !state.coats || now.bench !== "judge") return;
  const light = now.light || state.lights[0], frames = !picture.live;
  const lights = el("select", { "aria-label": "Light", "data-key": "light" }, Object.keys(state.light_words).sort((a, b) => state.lights.includes(b) - state.lights.includes(a))
    .map((name) => el("option", { value: name, selected: name === light }, capital(state.light_words[name]))));
  lights.addEventListener("change", () => look({ light: lights.value }));
  const quick = state.lights.slice(0, 3).map((name) => choice(capital(lightWords(name)), name === light, () => look({ light: name }), { "data-key": `light ${name}` }));
  const around = el("select", { "aria-label": "Looked at", "data-key": "around" }, state.surroundings.map((name) => el("option", { value: name, selected: name === now.around }, aroundWords(name))));
  around.addEventListener("change", () => look({ around: around.value }));
  const films = Object.entries(FILMS).map(([key, word]) => choice(word, now.film === key && now.beside !== "twins", () => look({ film: key, beside: now.beside === "twins" ? null : now.beside }), { "data-key": `film ${key}`, disabled: frames }));
  const deed = (word, key, call) => el("button", { type: "button", "data-key": key, on: { click: call } }, word);
  redraw(byId("judge"), el("div", { class: "groups" },
    group("Light", el("div", { class: "row" }, el("div", { class: "join" }, quick), lights)),
    group("Looked at", around),
    group("How the film may turn out", el("div", { class: "join" }, films)),
    group("Beside it", el("div", { class: "row" },
      choice("Pale and deep", now.beside === "twins", () => look({ beside: now.beside === "twins" ? null : "twins" }), { "data-key": "twins", disabled: frames }),
      deed("A kept version", "versions", () => look({ bench: "versions" })),
      now.beside && now.beside !== "twins" ? deed("Nothing", "nothing", () => look({ beside: null })) : null)),
    judging.twins(),
    evenness.hands(),
    group("Turned", el("div", { class: "row" },
      deed("Straight on", "straight", () => { look({ around: "even" }); straightOn(); }),
      deed("As it stands", "stands", () => { look({ around: "window" }); asItStands(); }),
      deed("Closer", "closer", () => turn({ zoom: picture.pose.zoom * 1.25 })),
      deed("Further", "further", () => turn({ zoom: picture.pose.zoom / 1.25 })))),
    group("This screen", el("div", { class: "row" }, deed("Check this screen", "screen", screenCheck), judging.screenWords()))));
}

/* Eleven steps from black to white, and what to look for. */
function screenCheck() {
  const sheet = byId("sheet"), steps = Array.from({ length: 11 }, (_, k) => {
    const code = Math.round(255 * k / 10);
    return el("i", { style: { background: `rgb(${code}, ${code}, ${code})` } });
  });
  const wide = matchMedia("(color-gamut: p3)").matches;
  redraw(sheet, el("h2", { id: "sheet-name" }, "Is this screen fit to judge by?"),
    el("div", { class: "greys", role: "img", "aria-label": "Eleven steps of grey from black to white" }, steps),
    el("p", {}, "You should see eleven separate steps from black to white, all of them grey, none tinted."),
    el("p", {}, "Switch off night colours and automatic tints, turn the brightness up, keep sun off the glass, and look straight on. This page does not calibrate the screen; a sprayed sample decides."),
    el("p", { class: "soft" }, wide ? "This screen shows wide colour (Display P3), and the picture uses it." : "This screen shows standard colour (sRGB)."),
    el("button", { type: "button", class: "main", on: { click: () => sheet.close() } }, "Back to the part"));
  sheet.showModal();
}
