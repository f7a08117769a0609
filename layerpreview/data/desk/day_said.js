/*
 * What is said to the diary. Each thing has an id and is kept here until the desk has it, so that a lost network or a
 * phone that sleeps loses nothing and says nothing twice.
 */
import { about } from "./store.js";

const KEPT = "day waiting", AGAIN_MS = 4000;
export const said = { day: null, waiting: [], problems: [], gone: "", other: null, behind_ms: 0 };
let changed = () => {}, sending = false;

export function begin(call) {
  changed = call;
  try { said.waiting = JSON.parse(localStorage.getItem(KEPT)) || []; } catch (error) { said.waiting = []; }
  setInterval(() => { if (said.waiting.length) send(); }, AGAIN_MS);
}

function keep() {
  try { localStorage.setItem(KEPT, JSON.stringify(said.waiting)); } catch (error) { /* a browser that keeps nothing: as long as the page is open */ }
}

/* What the desk answers; status 0: nobody is there. */
export async function asked(path, body) {
  try {
    const given = body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) };
    const answer = await fetch(path, given);
    const told = await answer.json();
    said.gone = answer.status === 403 ? "known" : "";
    if (told.other) said.other = told.other;
    return [answer.status, told];
  } catch (error) {
    said.gone = "closed";
    return [0, { problems: [] }];
  }
}

function take(told) {
  said.day = told;
  said.behind_ms = Date.parse(told.now) - Date.now();
}

/* How the desk's clock stands, whatever this one says. */
export function now() { return Date.now() + said.behind_ms; }

export async function look() {
  const [status, told] = await asked(about("/api/day"));
  if (status === 200) take(told);
  said.problems = status === 200 ? [] : told.problems;
  changed();
}

function newId() {
  const signs = crypto.getRandomValues(new Uint8Array(12));
  return [...signs].map((sign) => sign.toString(16).padStart(2, "0")).join("");
}

/* Say one thing; gives the problems that the desk has with it, none where it is written or still waits for the desk. */
export async function say(what, values) {
  const one = { what, values, id: newId(), at: Date.now(), opening: said.day.opening };
  said.waiting.push(one);
  keep();
  changed();
  return send(one.id);
}

/* What was said of another job waits until that one is open again. */
function next() { return said.waiting.find((one) => said.day && one.opening === said.day.opening); }

/* Everything that waits, in its order; problems of the one called `mine`. */
async function send(mine) {
  while (sending) await new Promise((done) => setTimeout(done, 50));
  sending = true;
  let problems = [];
  try {
    for (let one = next(); one; one = next()) {
      const [status, told] = await asked("/api/said", { what: one.what, values: { ...one.values, id: one.id }, ago_s: Math.max(0, (Date.now() - one.at) / 1000), opening: one.opening });
      if (status === 0 || status === 403 || said.other) break;
      said.waiting = said.waiting.filter((other) => other !== one);
      keep();
      if (status === 200) take(told);
      else if (one.id === mine) problems = told.problems;
      else said.refused = `What waited was not taken: ${told.problems.join(" ")}`;
    }
  } finally { sending = false; }
  changed();
  return problems;
}

export async function withdraw(line) {
  const [status, told] = await asked("/api/withdraw", { line, opening: said.day.opening });
  if (status === 200) take(told);
  changed();
  return status === 200 ? [] : told.problems;
}
