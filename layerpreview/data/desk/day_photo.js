/* A photo after a coat: taken, then two touches, on the white card and on the paint; the desk does the rest. */
import { el } from "./dom.js";
import { asked, look, said } from "./day_said.js";
import { about } from "./store.js";

const MOST_SPOTS = 4;

export function photo(one, sheet, close) {
  const last = said.day.coats[said.day.coats.length - 1];
  if (!last) return;
  const says = el("p", {}, "Put a white or grey card into the picture, in the same light as the paint. No flash, no glare.");
  const input = el("input", { type: "file", accept: "image/*", capture: "environment", "aria-label": "Take or choose a photo" });
  input.addEventListener("change", () => { if (input.files[0]) send(input.files[0], last, says, sheet, close); });
  sheet(`Photo after coat ${last.number} of ${last.name}`, [says, input], null, () => "");
}

async function send(file, last, says, sheet, close) {
  says.textContent = "Sending it";
  let told = { problems: ["The desk cannot be reached; the photo stays on your phone. Try again."] }, good = false;
  try {
    const answer = await fetch(about(`/upload/day-photo?name=${encodeURIComponent(file.name || "photo.jpg")}`), { method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
    told = await answer.json();
    good = answer.ok;
  } catch (error) { /* said below */ }
  if (good) touch(told, last, sheet, close);
  else says.textContent = told.problems.join(" ");
}

function touch(kept, last, sheet, close) {
  const found = { card: null, spots: [] };
  const says = el("p", { role: "status", "aria-live": "polite" }, "Touch the white or grey card.");
  const image = el("img", { src: kept.address, alt: "The photo. Touch the card, then the paint." });
  const place = el("div", { class: "touching" }, image);
  const form = sheet(`Photo after coat ${last.number} of ${last.name}`, [says, place,
    el("label", {}, "It shows", el("select", { name: "of" }, el("option", { value: "part" }, "the part"), el("option", { value: "card" }, "a witness card, sprayed along"))),
    el("label", {}, "The card is", el("select", { name: "white" }, el("option", { value: "0.9" }, "white paper or a white card"), el("option", { value: "0.18" }, "a grey card of 18 %")))],
  "Read it", () => "");
  image.addEventListener("click", (event) => {
    const box = image.getBoundingClientRect(), at = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    if (!found.card) found.card = at;
    else if (found.spots.length < MOST_SPOTS) found.spots.push(at);
    const marks = [["card", found.card], ...found.spots.map((spot, i) => [`paint ${i + 1}`, spot])];
    for (const old of place.querySelectorAll("i")) old.remove();
    for (const [name, [x, y]] of marks) place.append(el("i", { "data-name": name, style: { left: `${100 * x}%`, top: `${100 * y}%` } }));
    says.textContent = found.spots.length ? "Another place of the paint tells how even it is; or read it." : "Touch the paint, where there is no glare.";
  });
  form.addEventListener("submit", async (event) => {
    event.stopImmediatePropagation();
    event.preventDefault();
    const wrong = form.querySelector(".wrong");
    const missing = !found.card ? "Touch the white or grey card first." : !found.spots.length ? "Touch the paint, too." : "";
    if (!missing) says.textContent = "Reading it";
    const [status, told] = missing ? [0, { problems: [missing] }] : await asked("/api/day-photo", { file: kept.file, card: found.card, spots: found.spots, of: form.elements.of.value, white_reflectance: Number(form.elements.white.value), entry: last.entry, number: last.number, opening: said.day.opening });
    wrong.hidden = status === 200;
    wrong.textContent = (told.problems || []).join(" ");
    if (status !== 200) return;
    sheet("What it says", told.lines.map((line) => el("p", {}, line)), null, () => "");
    look();
  }, { capture: true });
}
