/* Elements made and kept: text goes in as text alone, and what has the focus keeps it when a list is drawn anew. */

const SVG = "http://www.w3.org/2000/svg";

function filled(node, given, inside) {
  for (const [name, value] of Object.entries(given || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "on") for (const [event, call] of Object.entries(value)) node.addEventListener(event, call);
    else if (name === "style") for (const [property, one] of Object.entries(value)) node.style.setProperty(property, one);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...inside.flat().filter((one) => one !== null && one !== undefined));
  return node;
}

/* An element; `given` are its attributes, `on` its listeners, `style` properties of its style. */
export function el(name, given, ...inside) { return filled(document.createElement(name), given, inside); }

export function svg(name, given, ...inside) { return filled(document.createElementNS(SVG, name), given, inside); }

export function byId(id) { return document.getElementById(id); }

/* A button that says whether it is chosen. */
export function choice(text, pressed, call, given) {
  return el("button", { type: "button", "aria-pressed": String(pressed), on: { click: call }, ...given }, text);
}

export function press(button, pressed) { button.setAttribute("aria-pressed", String(pressed)); }

export function setText(node, text) { if (node.textContent !== text) node.textContent = text; }

/* What a hand presses stays until it lets go: a button that is replaced meanwhile would never hear of the press. */
const AFTER_PRESS_MS = 60, LONGEST_PRESS_MS = 3000, later = new Map();
let pressed = null, releasing = null;

function hold(event) {
  clearTimeout(releasing);
  pressed = event.target.closest("button, label, a, summary");
  releasing = setTimeout(release, LONGEST_PRESS_MS);
}

function release() {
  pressed = null;
  for (const [place, content] of [...later]) redraw(place, ...content);
}

function letGo() {
  clearTimeout(releasing);
  releasing = setTimeout(release, AFTER_PRESS_MS);
}

for (const [kind, call] of [["pointerdown", hold], ["pointerup", letGo], ["pointercancel", letGo]]) document.addEventListener(kind, call, true);
for (const [kind, call] of [["keydown", hold], ["keyup", letGo]]) document.addEventListener(kind, (event) => { if (event.key === " ") call(event); }, true);
/* What the press itself brings about is seen at once. */
document.addEventListener("click", () => { pressed = null; }, true);

/* Put new content into a place; what had the focus there and has the same data-key gets it again. */
export function redraw(place, ...content) {
  later.delete(place);
  if (pressed && pressed !== place && place.contains(pressed)) return void later.set(place, content);
  const focused = place.contains(document.activeElement) ? document.activeElement : null;
  const key = focused && focused.dataset.key, at = focused && "selectionStart" in focused ? focused.selectionStart : null;
  const typed = focused && focused.tagName === "INPUT" && focused.dataset.typing ? focused.value : null;
  const scrolled = place.scrollTop;
  place.replaceChildren(...content.flat().filter((one) => one !== null && one !== undefined));
  place.scrollTop = scrolled;
  if (!key) return;
  const again = place.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (!again) return;
  again.focus({ preventScroll: true });
  if (typed !== null) {
    again.value = typed;
    again.dataset.typing = "1";
    again.setSelectionRange(at, at);
  }
}

/* Keep a list of elements by their keys: those that stay are changed in place, so that a pull or the focus goes on. */
export function sync(place, items, keyOf, make, change) {
  const held = new Map([...place.children].map((node) => [node.dataset.key, node]));
  const focused = place.contains(document.activeElement) ? document.activeElement : null;
  const nodes = items.map((item) => {
    const key = keyOf(item), node = held.get(key) || make(item);
    node.dataset.key = key;
    change(node, item);
    return node;
  });
  const same = nodes.length === place.children.length && nodes.every((node, i) => place.children[i] === node);
  if (!same) place.replaceChildren(...nodes);
  if (focused && place.contains(focused) && document.activeElement !== focused) focused.focus({ preventScroll: true });
}

const TOLD_MS = 5000;
let telling = null;

/* Said at the foot, and to those who listen to the page; changes only. */
export function tell(text) {
  setText(byId("told"), text);
  clearTimeout(telling);
  telling = setTimeout(() => setText(byId("told"), ""), TOLD_MS);
}

/* A line to type a value in; `take(text)` gets it on Enter or when it is left, and gives false where it cannot be read. */
export function typed(label, value, take, given) {
  const input = el("input", { type: "text", value, "aria-label": label, autocomplete: "off", spellcheck: "false", class: "n", ...given });
  input.addEventListener("input", () => { input.dataset.typing = "1"; });
  input.addEventListener("change", () => {
    delete input.dataset.typing;
    const good = take(input.value) !== false;
    if (good) input.removeAttribute("aria-invalid"); else input.setAttribute("aria-invalid", "true");
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && input.dataset.typing) {
      event.stopPropagation();
      input.value = value;
      delete input.dataset.typing;
    }
  });
  return input;
}
