/*
 * The job as the desk has it, what is being pulled at this moment, and every change on its way there.
 * One copy for the whole page; who draws listens: "state", "pull", "look", "figures", "picture", "band".
 */

export const store = {
  state: null,
  gone: null,
  /* The job that is open at the desk by now, where it is another than the one shown here. */
  other: null,
  asked: null,
  failed: [],
  /* A card that is read while nothing else shows it: its task, and what stops it. */
  card: null,
  /* What is pulled and not written yet. */
  pulled: { coats: {}, films: {}, widths: {}, amounts: {} },
  /* How the page looks at it. `after`: the coat it is seen after, -1 bare, null finished; `pulls`: what a strip's tag changes;
   * `overlay`: the part as `hand` lays it ("laid"), or a map of where that shows ("shown"). */
  look: { bench: null, open: null, after: null, spot: null, light: null, around: "window", film: "likely", beside: null, tape: null, pulls: "coats", hand: null, overlay: null },
};

const listeners = {};

export function on(names, call) { for (const name of names.split(" ")) (listeners[name] ||= []).push(call); }

export function say(name, told) { for (const call of listeners[name] || []) call(told); }

/* What is worked out beside a picture must not keep it waiting, unless it takes long. */
const PICTURE_MS = 6000, waiting = new Set();
let standing = null;

/* `shown`: the version of the job that the picture stands for; without it no picture is on its way. */
export function pictureStands(shown = "any") {
  standing = shown;
  if (!awaited()) for (const go of [...waiting]) go();
}

function awaited() { return standing !== "any" && standing !== store.state.shown; }

/* Done once the picture of the job as it is now stands. */
export function afterPicture() {
  if (!awaited()) return Promise.resolve();
  return new Promise((done) => {
    const go = () => { waiting.delete(go); done(); };
    waiting.add(go);
    setTimeout(go, PICTURE_MS);
  });
}

export function look(changes) {
  Object.assign(store.look, changes);
  say("look", changes);
}

/* An address with the opening of the job that this page shows, so that nothing is answered of, or done to, another. */
export function about(path) {
  const opening = store.state && store.state.opening;
  return opening ? `${path}${path.includes("?") ? "&" : "?"}opening=${opening}` : path;
}

const OTHER = { problems: ["another job is open at this desk now"] };

/* Ask the desk; gives [status, what it said]. Status 0: nobody is there, or it has another job open by now. */
export async function ask(path, body) {
  if (store.other) return [0, OTHER];
  try {
    const { opening } = store.state || {};
    const given = body === undefined ? {} : { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ ...body, opening }) };
    const answer = await fetch(body === undefined ? about(path) : path, given);
    const told = await answer.json();
    if (told.other) {
      store.other = told.other;
      say("band");
      return [0, OTHER];
    }
    if (store.gone && answer.status !== 403) here();
    if (answer.status === 403) away("known");
    return [answer.status, told];
  } catch (error) {
    away("closed");
    return [0, { problems: [] }];
  }
}

function away(why) {
  if (store.gone === why) return;
  store.gone = why;
  say("band");
}

function here() {
  store.gone = null;
  say("band");
  load();
}

/* The job's state anew. */
export async function load() {
  const [status, told] = await ask("/api/state");
  if (status === 200) take(told);
}

/* The states that a picture on its way may be of. */
const states = [];
const MOST_STATES = 40;

export function stateOf(version) { return states.findLast((state) => state.shown === version); }

export function take(state) {
  const before = store.state;
  store.state = state;
  if (!state.coats && before) Object.assign(state, { ...before, ...state });
  if (states.push(state) > MOST_STATES) states.shift();
  say("state", before);
}

let row = Promise.resolve();

/* One after the other, so that each change is meant for what the one before left. */
function queued(work) {
  row = row.then(work, work);
  return row;
}

/* Change the job: `words` say what is done ("honey: 4 coats"). Gives whether it is written. */
export function edit(words, changes, force = false) {
  return queued(async () => {
    const [status, told] = await ask("/api/edit", { base: store.state.version, words, changes, force });
    return taken(status, told, { words, changes });
  });
}

function taken(status, told, mine) {
  store.failed = [];
  store.asked = null;
  if (status === 200) take(told);
  else if (status === 409 && told.state) {
    if (mine && told.asked.length) store.asked = { ...mine, places: told.asked };
    take(told.state);
  } else if (status) store.failed = told.problems;
  say("band");
  return status === 200;
}

export function undo() { return step("/api/undo"); }

export function redo() { return step("/api/redo"); }

/* A change that the desk makes itself, undone as all others; `more` says which. */
export function step(path, more = {}) {
  return queued(async () => {
    const [status, told] = await ask(path, { base: store.state.version, ...more });
    return taken(status, told, null);
  });
}

export function restore(id) {
  return queued(async () => {
    const [status, told] = await ask("/api/restore", { id });
    return taken(status, told, null);
  });
}

/* Once a second: has anybody else changed it? */
export function watch() {
  setInterval(async () => {
    if (document.hidden || store.other) return;
    const [status, told] = await ask(`/api/pulse?version=${store.state ? store.state.version : ""}`);
    if (status !== 200 || !store.state) return;
    const problems = JSON.stringify(told.problems || []) !== JSON.stringify(store.state.problems);
    if (told.version !== store.state.version || problems) queued(load);
  }, 1000);
}

/* What is pulled now; the picture and the section follow, nothing is written. */
export function pull(kind, key, value) {
  store.pulled[kind][key] = value;
  say("pull");
}

/* Write what was pulled, and let go of it once it stands (or could not be written). */
export async function letGo(kind, key, words, changes) {
  const value = store.pulled[kind][key];
  const good = changes.length ? await edit(words, changes) : false;
  if (store.pulled[kind][key] === value) delete store.pulled[kind][key];
  say("pull");
  return good;
}

export function pulling() { return Object.values(store.pulled).some((kind) => Object.keys(kind).length > 0); }

export function coatsOf(i) { return store.pulled.coats[i] ?? store.state.coats[i].coats; }

export function filmUmOf(i) { return store.pulled.films[i] ?? (i === "clear" ? store.state.clear.film : store.state.coats[i].film_um).likely; }

export function widthOf(i, k) { return store.pulled.widths[`${i},${k}`] ?? store.state.coats[i].bursts[k].width_mm; }

export function amountOf(mix, dye) { return store.pulled.amounts[`${mix.name},${dye.name}`] ?? dye.likely; }
