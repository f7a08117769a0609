/* Below the part one thing at a time: which one, and the command that does the same. */

import { byId, press, setText } from "./dom.js";
import { look, on, store } from "./store.js";
import { baseName, label } from "./strips.js";
import { capital } from "./say.js";

const UPRIGHT = matchMedia("(max-width: 860px), (max-aspect-ratio: 1/1)");
const COMMANDS = { film: "check", mix: "check", figures: "figures", judge: "render", closer: "reach", give: "board", mend: "mend", versions: "check" };
/* What was done last below a word, as a command. */
const said = {};
let came = null;

export function begin() {
  look({ bench: UPRIGHT.matches ? "film" : "figures" });
  UPRIGHT.addEventListener("change", () => { if (store.look.bench === "film") look({ bench: UPRIGHT.matches ? "film" : "figures" }); });
  for (const button of byId("words").children) button.addEventListener("click", () => go(button.dataset.go));
  byId("versions").addEventListener("click", () => go(store.look.bench === "versions" ? usual() : "versions"));
  on("look state", show);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && store.look.bench === "mix" && store.look.after === null && !event.defaultPrevented) close();
  });
}

function usual() { return UPRIGHT.matches ? "film" : "figures"; }

export function go(bench) { look({ bench, ...(bench === "mix" ? {} : { open: null }) }); }

/* Open a coat (its number, "clear", -1 for the base, "new" to add one) below the part; touched again it closes. */
export function openCoat(i) {
  if (store.look.bench === "mix" && store.look.open === i) return close();
  came = document.activeElement;
  look({ bench: "mix", open: i });
  if (UPRIGHT.matches) {
    byId("mix").focus({ preventScroll: true });
    scrollTo({ top: 0 });
  }
}

export function close() {
  look({ bench: usual(), open: null });
  if (came && came.isConnected) came.focus({ preventScroll: true });
}

/* The command that does what was done last on a bench. */
export function command(bench, text) {
  said[bench] = text;
  show();
}

export function openName() {
  const { open } = store.look;
  if (open === null || !store.state || !store.state.coats) return "";
  if (open === "clear") return "Clear";
  if (open === "new") return "A new coat";
  return open < 0 ? baseName() : store.state.coats[open] ? capital(label(open)) : "";
}

function show() {
  const { bench, open } = store.look, { state } = store;
  if (typeof open === "number" && state && state.coats && open >= state.coats.length) return look({ bench: usual(), open: null });
  document.body.dataset.bench = bench || "figures";
  for (const button of byId("words").children) press(button, button.dataset.go === bench);
  setText(document.querySelector(".mix-word"), openName());
  press(byId("versions"), bench === "versions");
  if (state && state.command) setText(byId("command"), said[bench] || state.command[COMMANDS[bench] || "check"]);
}
