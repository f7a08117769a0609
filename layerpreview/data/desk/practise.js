/* Learning the eye: a target, a guess, the step between them; after twenty what came of it. Nothing moves, nothing counts down. */
import { askAt, trouble } from "./begin_ask.js";
import { el, svg, byId, setText } from "./dom.js";

const ask = askAt("/api/practise");
const AHEAD = 3;
const now = { set: null, rounds: 20, guesses: [], asked: null, told: null };
const kept = () => `practise ${now.set}`;

/* Where a picture of a round is; the browser keeps it, so that the next round is there at once. */
const shown = (round, what) => `/practise/shown.png?set=${encodeURIComponent(now.set)}&round=${round}&what=${what}`;
const question = (round) => ask(`round?set=${encodeURIComponent(now.set)}&round=${round}`);

async function begin() {
  const told = await ask("set");
  if (!told) return;
  Object.assign(now, { set: told.set, rounds: told.rounds, guesses: [] });
  try {
    const before = JSON.parse(sessionStorage.getItem(kept()));
    if (Array.isArray(before) && before.length <= now.rounds && before.every((one) => Number.isInteger(one) && one >= 0 && one <= 8)) now.guesses = before;
  } catch (error) { /* a page that may keep nothing begins anew */ }
  round();
}

/* --- one round --- */

async function round() {
  if (now.guesses.length >= now.rounds) return end();
  const number = now.guesses.length + 1, asked = await question(number);
  if (!asked) return;
  now.asked = asked;
  now.told = null;
  document.body.dataset.step = "ask";
  delete document.body.dataset.told;
  setText(byId("count"), `Round ${number} of ${now.rounds}`);
  byId("guessed").hidden = true;
  byId("guessed").removeAttribute("src");
  picture("target", number, "target", asked.target);
  picture("base", number, "base", `The base, ${asked.base}`);
  picture("one", number, "one", asked.one);
  setText(byId("said"), asked.target);
  setText(byId("was"), "");
  setText(byId("base-words"), `The base: ${asked.base}`);
  setText(byId("one-words"), asked.one);
  setText(byId("question"), asked.question);
  byId("verdict").replaceChildren();
  byId("next").hidden = true;
  byId("choices").replaceChildren(...asked.choices.map((words, k) => el("button", { type: "button", "data-key": k, on: { click: () => guess(k) } }, words, el("i", { "aria-hidden": "true" }))));
  setText(byId("keys"), coats() ? "0 to 8" : "1 to 9");
  byId("question").focus({ preventScroll: true });
  window.scrollTo(0, 0);
  ahead(number);
}

const coats = () => now.asked.asks === "coats";

function picture(id, number, what, words) {
  const image = byId(id);
  image.src = shown(number, what);
  image.alt = words;
}

async function guess(k) {
  const number = now.asked.number;
  if (now.told || now.guesses.length >= number) return;
  now.told = {};
  const mine = byId("guessed");
  mine.src = shown(number, k);
  const drawn = mine.decode().catch(() => null), told = await ask("guess", { set: now.set, round: number, guess: k });
  if (!told) return void (now.told = null);
  await drawn;
  now.told = told;
  now.guesses.push(k);
  try { sessionStorage.setItem(kept(), JSON.stringify(now.guesses)); } catch (error) { /* then a page that is loaded anew begins anew */ }
  mine.alt = told.said;
  mine.hidden = false;
  setText(byId("said"), told.said);
  setText(byId("was"), told.was);
  document.body.dataset.told = "";
  [...byId("choices").children].forEach((button, at) => {
    button.disabled = true;
    const chip = button.querySelector("i");
    chip.style.setProperty("--chips", `url("${shown(number, "all")}")`);
    chip.style.setProperty("--at", `${at / 8 * 100}%`);
    if (at === told.right) button.dataset.was = "";
    if (at === k) button.dataset.said = "";
  });
  byId("verdict").replaceChildren(
    el("p", { class: "verdict" }, told.words, told.de00 ? el("small", { class: "n" }, `Off by ${told.de00.toFixed(1)} (CIEDE2000, approximate)`) : null),
    told.on_screen ? "" : el("p", { class: "soft" }, "A screen cannot show one of these two colours in full: the step may look smaller than it is."),
    el("p", {}, told.lesson));
  setText(byId("next"), number < now.rounds ? "Next" : "What came out");
  byId("next").hidden = false;
  byId("next").focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

/* What the next rounds will ask for, while this one is looked at: a silver takes a moment the first time. */
async function ahead(number) {
  for (let next = number + 1; next <= Math.min(number + AHEAD, now.rounds) && now.asked.number === number; next++) {
    if (!await question(next)) return;
    for (const what of ["target", "base", "one"]) {
      const image = new Image();
      image.src = shown(next, what);
      await image.decode().catch(() => null);
    }
  }
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || document.body.dataset.step !== "ask" || !now.asked || now.told) return;
  const k = /^\d$/.test(event.key) ? Number(event.key) - (coats() ? 0 : 1) : -1;
  if (k < 0 || k > 8) return;
  event.preventDefault();
  guess(k);
});

/* --- after twenty --- */

async function end() {
  const told = await ask("finish", { set: now.set, guesses: now.guesses });
  if (!told) return;
  if (told.trouble) trouble([told.trouble]);
  document.body.dataset.step = "end";
  setText(byId("count"), "");
  byId("median").replaceChildren(`Half of your guesses were within ${told.median.toFixed(1)}`, el("small", {}, told.times.length > 1 ? "The line shows this time and the earlier ones." : "Next time a line shows how it goes on."));
  byId("rows").replaceChildren(...told.rows.map((row) => el("tr", {}, el("td", {}, String(row.round)), el("td", {}, row.said), el("td", {}, row.was), el("td", {}, row.de00.toFixed(1)))));
  byId("chart").replaceChildren(...(told.times.length > 1 ? [chart(told.times)] : []));
  askForget(false);
  byId("title").focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

/* The medians as a line; below the dashed one hardly anyone sees a difference. */
function chart(times) {
  const wide = 560, high = 190, left = 44, foot = 28, top = 12, shownTimes = times.slice(-40);
  const most = Math.max(2, ...shownTimes.map((one) => one.median)) * 1.1;
  const x = (k) => left + 12 + k * (wide - left - 44) / Math.max(1, shownTimes.length - 1), y = (value) => top + (high - top - foot) * (1 - value / most);
  const step = most > 8 ? 4 : most > 4 ? 2 : 1, marks = [];
  for (let value = 0; value <= most; value += step) marks.push(value);
  return svg("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `Median of each time: ${shownTimes.map((one) => one.median.toFixed(1)).join(", ")}` },
    marks.map((value) => [svg("path", { d: `M${left} ${y(value)}H${wide}`, stroke: "#bdbdbf" }), svg("text", { x: left - 8, y: y(value) + 4, "text-anchor": "end" }, String(value))]).flat(),
    svg("path", { class: "seen-from", d: `M${left} ${y(0.8)}H${wide}` }),
    svg("path", { class: "line", d: "M" + shownTimes.map((one, k) => `${x(k)} ${y(one.median)}`).join("L") }),
    shownTimes.map((one, k) => svg("circle", { cx: x(k), cy: y(one.median), r: 4 })),
    svg("text", { x: left, y: high - 8 }, shownTimes[0].when),
    svg("text", { x: wide - 2, y: high - 8, "text-anchor": "end" }, shownTimes[shownTimes.length - 1].when));
}

function askForget(sure) {
  const place = byId("forgetting");
  if (!sure) return place.replaceChildren(el("button", { type: "button", id: "forget", on: { click: () => askForget(true) } }, "Forget my progress"));
  place.replaceChildren(el("p", {}, "Remove all times from this machine? They do not come back."),
    el("button", { type: "button", on: { click: forget } }, "Remove them"),
    el("button", { type: "button", id: "keep", on: { click: () => { askForget(false); byId("forget").focus(); } } }, "Keep them"));
  byId("keep").focus();
}

async function forget() {
  if (!await ask("forget", {})) return;
  sessionStorage.clear();
  byId("chart").replaceChildren();
  byId("forgetting").replaceChildren(el("p", { role: "status" }, "Nothing is kept any more."));
}

byId("next").addEventListener("click", round);
byId("again").addEventListener("click", begin);
begin();
