/* The touch-up's own page, for the shop's phone: a face touched round the damage, a few choices, the answer below. */

import { byId, choice, el, redraw, setText } from "./dom.js";
import { ask, on, store } from "./store.js";
import * as background from "./background.js";
import { answer } from "./mend_answer.js";
import { faceView } from "./mend_face.js";
import { choices, corners, deed, touchedWords } from "./mend_form.js";
import * as said from "./mend_said.js";

const { mend } = said, flat = faceView(), kept = { result: null };
let chosen = null, version = null;

function faces() {
  const names = mend.faces.map((one) => one.name), shown = chosen || said.face();
  if (names.length < 2) return null;
  return el("div", { class: "join" }, mend.faces.map((one) => choice(one.name, one === shown, () => { chosen = one; draw(); }, { "data-key": `face ${one.name}` })));
}

function draw() {
  if (!mend.faces.length) return;
  redraw(byId("faces"), faces());
  flat.draw(chosen || said.face());
  setText(byId("says"), touchedWords());
  redraw(byId("corners"), corners());
  redraw(byId("choices"), choices());
  redraw(byId("deed"), deed());
  const { task } = mend, done = task && task.state === "done" && task.result;
  const other = done && (!said.stands() || task.version !== version) ? el("p", { class: "other" }, "This is what was asked before; see the repair again.") : null;
  if (!done) return redraw(byId("answer"));
  if (kept.result !== task.result) Object.assign(kept, { result: task.result, node: answer(task.result) });
  redraw(byId("answer"), other, kept.node);
}

function trouble() {
  const words = store.other ? `Another job is open at the desk now: ${store.other}. Load this page again to go on with it.`
    : store.gone === "known" ? "The desk does not know this phone any more. Take the code that it shows now."
      : store.gone ? "The desk cannot be reached." : "";
  byId("trouble").hidden = !words;
  setText(byId("trouble"), words);
}

async function load() {
  const [status, told] = await ask("/api/mend");
  if (status !== 200) {
    if (told.problems.length) Object.assign(byId("trouble"), { hidden: false, textContent: told.problems.join(" ") });
    return;
  }
  store.state = { units: told.units, opening: told.opening, version: told.version };
  version = told.version;
  chosen = chosen && told.faces.find((one) => one.name === chosen.name);
  setText(byId("name"), told.name);
  document.title = `Touch up: ${told.name}`;
  said.set({ faces: told.faces });
}

function ended(task) {
  if (task.state !== "done") return;
  byId("answer").scrollIntoView({ block: "start" });
  byId("answer").focus({ preventScroll: true });
}

said.begin(draw, ended);
on("band", trouble);
byId("face").replaceChildren(flat.node);
load().then(() => background.pickUp(said.pickedUp));
document.addEventListener("visibilitychange", () => { if (!document.hidden) load(); });
window.touchUp = { mend, store };
