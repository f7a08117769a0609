/* The phone's door: its code to point a camera at, and a button that shuts it; nothing where no phone is let in. */
import { el, redraw, svg } from "./dom.js";

const EVERY_MS = 2000, CODE_BOX = 180;

async function asked(body) {
  try {
    const given = body ? { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) } : {};
    const answer = await fetch("/api/phone", given);
    return answer.ok ? await answer.json() : null;
  } catch (error) {
    return null;
  }
}

/* The code as one path: a square for each dark place. */
function drawn(rows) {
  const d = rows.map((row, y) => [...row].map((dark, x) => (dark === "1" ? `M${x} ${y}h1v1h-1Z` : "")).join("")).join("");
  return svg("svg", { viewBox: `0 0 ${rows.length} ${rows.length}`, width: CODE_BOX, height: CODE_BOX, role: "img", "aria-label": "Code for the phone's camera" }, svg("path", { d: `M0 0H${rows.length}V${rows.length}H0Z`, fill: "#fff" }), svg("path", { d, fill: "#000" }));
}

/* Keep the card of the door in `place` up to date while `seen()`. */
export function phoneCard(place, seen) {
  let shown = "";
  const show = (told) => {
    if (!told) return;
    const now = JSON.stringify(told);
    if (now === shown) return;
    shown = now;
    place.hidden = !told.offered;
    if (!told.offered) return;
    const door = (words, open) => el("button", { type: "button", "data-key": "door", on: { click: async () => show(await asked({ open })) } }, words);
    const come = told.phones ? `${told.phones} ${told.phones === 1 ? "phone has" : "phones have"} come; another takes this code.` : "Point the phone's camera at the code. It works once, within ten minutes, in this room's network.";
    redraw(place, told.open ? [drawn(told.code), el("div", {}, el("b", {}, "With the phone"), el("span", {}, come), el("code", {}, told.address), door("Let no phone in", false))] : [el("div", {}, el("b", {}, "No phone is let in"), door("Let a phone in", true))]);
  };
  const look = async () => { if (seen() && !document.hidden) show(await asked()); };
  look();
  setInterval(look, EVERY_MS);
}
