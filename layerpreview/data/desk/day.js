/* The day at the booth: what comes next and when, what to mind, what was done; and a bell when a time has come. */
import { byId, el, redraw, setText, tell } from "./dom.js";
import { asked, begin, look, now, said, say, withdraw } from "./day_said.js";
import { forms, open, sure } from "./day_forms.js";
import { capital, film } from "./say.js";
import { store } from "./store.js";

const TICK_MS = 500, LOOK_MS = 5000, LEAST_BETWEEN_MS = 180_000;
const WORDS = { "film-read": "Wet film", photo: "Photo", batch: "Batch made", conditions: "Booth and gun", left: "What is left", drops: "Drops" };
const bell = { on: false, rung: new Set(), sound: null };

const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

/* "2 min 05 s", "1 h 20 min". */
function span(ms) {
  const s = Math.max(0, Math.ceil(ms / 1000)), min = Math.floor(s / 60);
  if (min >= 60) return `${Math.floor(min / 60)} h ${String(min % 60).padStart(2, "0")} min`;
  return min ? `${min} min ${String(s % 60).padStart(2, "0")} s` : `${s} s`;
}

/* --- what comes next, by the clock --- */

function wait() { return said.day.timers.find((one) => one.kind === "flash" || one.kind === "dry"); }

function nextWords() {
  const { next_coat: next, stage } = said.day, timer = wait();
  if (!next) return timer && Date.parse(timer.latest) > now() ? dried(timer) : null;
  const name = `coat ${next.number} of ${next.of} of ${next.name}`;
  if (!timer) return { small: next.words ? capital(next.words) : "", large: "", line: stage.kind === "spray" ? "" : `Then ${name}` };
  const earliest = Date.parse(timer.earliest), latest = Date.parse(timer.latest), at = now();
  const later = latest > earliest ? `, for sure from ${clock(latest)}` : "";
  if (at < earliest) return { small: "Next coat from", large: clock(earliest), line: `in ${span(earliest - at)}${later}` };
  return { small: "Next coat", large: "now", line: at < latest ? `may be ready since ${clock(earliest)}${later}` : `ready since ${clock(latest)}`, over: true };
}

function dried(timer) {
  return { small: "Dry from", large: clock(Date.parse(timer.earliest)), line: `for sure from ${clock(Date.parse(timer.latest))}` };
}

function showNext() {
  const told = nextWords();
  if (!told || !(told.large || told.small || told.line)) return redraw(byId("next"));
  redraw(byId("next"), el("div", { class: told.over ? "next over" : "next", role: "timer", "aria-live": "off" },
    told.small && el("span", {}, told.small), told.large && el("b", { class: "n" }, told.large), told.line && el("span", { class: "n" }, told.line)));
}

function pots() {
  const ends = said.day.timers.filter((one) => one.kind === "pot life");
  return ends.map((end) => {
    const soon = said.day.timers.find((one) => one.kind === "pot life soon" && one.about === end.about);
    const from = Date.parse(end.from_), over = Date.parse(end.earliest), warn = soon ? Date.parse(soon.earliest) : over, at = now();
    const words = at >= over ? `${capital(end.about)}: pot life is over since ${clock(over)}. Do not spray it; make a new batch.`
      : at >= warn ? `${capital(end.about)}: three quarters of its pot life are gone. Use it until ${clock(over)}, ${span(over - at)} left.`
        : `${capital(end.about)}: use it until ${clock(over)}`;
    return { end, words, state: at >= over ? "over" : at >= warn ? "soon" : "", share: (at - from) / (over - from) };
  });
}

function showClocks() {
  redraw(byId("clocks"), pots().map(({ words, state, share, end }) => el("div", { class: `clock ${state}` },
    el("span", {}, words), el("progress", { max: 1, value: Math.min(1, Math.max(0, share)), "aria-label": `pot life of ${end.about}` }))));
}

/* --- the bell --- */

/* Each time that comes rings once; what had come before the page was opened rings no more. */
function ring(first) {
  for (const timer of said.day.timers) {
    const key = `${timer.kind} ${timer.about} ${timer.from_}`;
    if (now() < Date.parse(timer.earliest) || bell.rung.has(key)) continue;
    bell.rung.add(key);
    if (first) continue;
    const words = { flash: "The next coat may go on", dry: "It may be dry by now", "pot life soon": `Three quarters of the pot life of ${timer.about} are gone`, "pot life": `The pot life of ${timer.about} is over` }[timer.kind];
    tell(words);
    sound();
  }
}

function sound() {
  if (!bell.on || !bell.sound) return;
  if (navigator.vibrate) navigator.vibrate([300, 150, 300]);
  const start = bell.sound.currentTime;
  for (const [k, hertz] of [[0, 880], [1, 660], [2, 880]]) {
    const tone = bell.sound.createOscillator(), level = bell.sound.createGain();
    tone.frequency.value = hertz;
    level.gain.setValueAtTime(0.001, start + 0.4 * k);
    level.gain.exponentialRampToValueAtTime(0.5, start + 0.4 * k + 0.02);
    level.gain.exponentialRampToValueAtTime(0.001, start + 0.4 * k + 0.38);
    tone.connect(level).connect(bell.sound.destination);
    tone.start(start + 0.4 * k);
    tone.stop(start + 0.4 * k + 0.4);
  }
}

/* A browser lets a page sound only after it was touched. */
function turnBell() {
  bell.on = !bell.on;
  if (bell.on) {
    bell.sound ||= new AudioContext();
    bell.sound.resume();
    sound();
    stayAwake();
  }
  byId("bell").setAttribute("aria-pressed", String(bell.on));
  tell(bell.on ? "The bell rings when a time has come, as long as this page is open" : "The bell is off");
}

function stayAwake() { if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {}); }

/* --- what to mind, what to say --- */

function showMind() {
  const closed = new Set([...byId("mind").querySelectorAll("details:not([open])")].map((node) => node.dataset.key));
  redraw(byId("mind"), said.day.cautions.map((one) => {
    const open = one.place !== "all" && !closed.has(one.title);
    return el("details", { class: "mind", open, "data-key": one.title }, el("summary", {}, one.title), el("p", {}, one.text));
  }));
}

function deed(one, first) {
  const name = one.what === "coat-done" ? capital(one.words) : WORDS[one.what] || capital(one.words);
  return el("button", { type: "button", class: first ? "first" : null, "data-key": `${one.what} ${JSON.stringify(one.values)}`, on: { click: () => doDeed(one) } }, name);
}

function showDeeds() {
  const all = said.day.may_say, coat = all.find((one) => one.what === "coat-done");
  const kinds = ["film-read", "photo", "batch", "left", "conditions", "drops"];
  const others = kinds.map((what) => all.find((one) => one.what === what) || (what === "photo" && said.day.coats.length ? { what, words: "a photo", values: {} } : null)).filter(Boolean);
  redraw(byId("deeds"), coat ? deed(coat, true) : null);
  redraw(byId("other"), others.map((one) => deed(one, false)));
}

/* A second touch of the same thumb is no second coat: what comes sooner than the coat before allows is asked about. */
function tooSoon() {
  const last = said.day.coats[said.day.coats.length - 1], timer = wait();
  if (!last) return null;
  const least = timer ? Date.parse(timer.earliest) : Date.parse(last.time) + LEAST_BETWEEN_MS;
  return now() < least ? last : null;
}

async function doDeed(one) {
  if (one.what !== "coat-done") return open(one);
  const last = tooSoon();
  if (last) return sure(one, `Coat ${last.number} of ${last.name} is in the diary since ${clock(Date.parse(last.time))}.`);
  return coatIsOn(one);
}

async function coatIsOn(one) {
  const problems = await say("coat-done", one.values);
  if (problems.length) trouble(problems.join(" "));
  else tell(capital(one.words));
}

/* --- what is known --- */

function showFilms() {
  const plans = said.day.remaining.map((one) => el("div", { class: "proposed" }, el("b", {}, capital(one.words))));
  const films = said.day.films.map((one) => el("p", {}, `${capital(one.name)}: ${film(one.measured_um)} wet, measured in ${one.n} ${one.n === 1 ? "place" : "places"}; planned ${film(one.planned_um)}`));
  redraw(byId("films"), plans, films);
}

function showPhotos() {
  const photos = (said.day.photos || []).filter((one) => one.address), newest = photos.map((one) => one.line).join(" ");
  if (byId("photos").dataset.of === newest) return;
  byId("photos").dataset.of = newest;
  const words = (one) => (said.day.entries.find((entry) => entry.line === one.line) || { words: one.words }).words;
  const all = photos.length ? el("img", { class: "all", src: `/day-photo/in-one-light.jpg?of=${encodeURIComponent(newest)}`, alt: "All photos in the order of the coats, in one light", loading: "lazy", on: { error: (event) => { event.target.hidden = true; } } }) : null;
  redraw(byId("photos"), all, photos.map((one) => el("figure", {}, el("img", { src: one.address, alt: words(one), loading: "lazy" }), el("figcaption", { class: "soft" }, words(one)))));
}

function showEntries() {
  const waiting = said.waiting.map((one) => el("li", {}, el("b", { class: "n" }, clock(one.at)), el("span", {}, "waits for the desk"), ""));
  const entries = [...said.day.entries].reverse().map((one) => el("li", { class: one.withdrawn ? "gone" : null },
    el("b", { class: "n" }, clock(Date.parse(one.time))), el("span", {}, one.withdrawn ? `${one.words} (withdrawn)` : one.words),
    one.withdrawn ? "" : el("button", { type: "button", "data-key": `withdraw ${one.line}`, "aria-label": `Withdraw: ${one.words}`, on: { click: () => take(one) } }, "Withdraw")));
  const notes = said.day.notes.map((note) => el("li", { class: "note" }, capital(note)));
  redraw(byId("entries"), waiting, notes, entries.length ? entries : el("li", { class: "note" }, "Nothing yet"));
}

async function take(one) {
  const problems = await withdraw(one.line);
  if (problems.length) trouble(problems.join(" "));
  else tell(`Withdrawn: ${one.words}. It stays in the diary, struck out.`);
}

function trouble(words) {
  byId("trouble").hidden = !words;
  setText(byId("trouble"), words);
}

function connection() {
  if (said.other) return trouble(`Another job is open at the desk now: ${said.other}. Load this page again to go on with it.`);
  if (said.gone === "known") return trouble("The desk does not know this phone any more. Take the code that it shows now. What you said here is kept.");
  if (said.gone) return trouble("The desk cannot be reached. What you say is kept here and sent as soon as it can be.");
  trouble([...said.problems, said.refused || ""].join(" ").trim());
}

/* --- all of it --- */

function show() {
  connection();
  const waits = said.waiting.length;
  setText(byId("kept"), waits ? `${waits} ${waits === 1 ? "thing waits" : "things wait"} for the desk` : "all is kept");
  if (!said.day) return;
  store.state = { units: said.day.units, opening: said.day.opening };
  setText(byId("name"), said.day.name);
  document.title = `The day: ${said.day.name}`;
  setText(byId("stage"), capital(said.day.stage.words));
  showMind();
  showDeeds();
  showFilms();
  showPhotos();
  showEntries();
  tick();
}

function tick(first) {
  if (!said.day) return;
  showNext();
  showClocks();
  ring(first);
}

begin(show);
byId("bell").addEventListener("click", turnBell);
forms(show);
look().then(() => tick(true));
setInterval(() => tick(false), TICK_MS);
setInterval(() => { if (!document.hidden && !byId("sheet").open) look(); }, LOOK_MS);
document.addEventListener("visibilitychange", () => { if (!document.hidden) { look(); if (bell.on) stayAwake(); } });
window.day = { said, say, bell, asked, look };
