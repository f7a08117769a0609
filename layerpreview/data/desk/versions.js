/* Versions kept under a name: looked at beside the part as it is, or gone back to. Below them the way to another job, and
   the phone's door where there is one. */

import { byId, choice, el, redraw } from "./dom.js";
import { phoneCard } from "./phone_card.js";
import { ask, look, on, restore, say, store } from "./store.js";
import { moment } from "./say.js";

let kept = [];
const another = el("p", {}, el("a", { href: "/begin", class: "another", "data-key": "another" }, "Another job")), door = el("div", { class: "phone-card", hidden: true });

export function begin() {
  on("look", (changes) => { if (changes.bench === "versions") fetchList(); else if ("beside" in changes) draw(); });
  phoneCard(door, () => store.look.bench === "versions");
  on("state", () => { if (store.look.bench === "versions") fetchList(); });
}

async function fetchList() {
  const [status, told] = await ask("/api/history");
  if (status === 200) kept = told.versions;
  draw();
}

function draw() {
  const name = el("input", { type: "text", value: `version ${kept.filter((one) => one.name).length + 1}`, "aria-label": "Name of the version to keep", "data-key": "name", maxlength: 60, autocomplete: "off" });
  name.addEventListener("input", () => { name.dataset.typing = "1"; });
  const keep = async () => {
    const [status, told] = await ask("/api/keep", { name: name.value });
    if (status !== 200) { store.failed = told.problems || []; say("band"); } else fetchList();
  };
  name.addEventListener("keydown", (event) => { if (event.key === "Enter") keep(); });
  const now = el("li", {}, el("p", {}, el("b", {}, "As it is now")), name, el("button", { type: "button", "data-key": "keep", on: { click: keep } }, "Keep it"));
  const rows = kept.map((version) => el("li", {},
    el("p", {}, el("b", {}, version.name || version.words || "as it was"), " ", el("span", { class: "soft" }, moment(version.when))),
    choice("Beside it", store.look.beside === version.id, () => look({ beside: store.look.beside === version.id ? null : version.id }), { "data-key": `beside ${version.id}`, "aria-label": `Beside it: ${version.name || version.words}, ${moment(version.when)}` }),
    el("button", { type: "button", "data-key": `back ${version.id}`, "aria-label": `Go back to ${version.name || version.words}, ${moment(version.when)}`, on: { click: () => restore(version.id) } }, "Go back")));
  redraw(byId("kept"), el("ol", { class: "versions-kept" }, now, rows), another, door);
}
