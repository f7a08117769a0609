"use strict";
// Finds jobs by words, dyes and colours, and lays two beside each other. Asks nobody for anything.
(() => {
  const jobs = JSON.parse(document.getElementById("jobs").textContent);
  const by = (id) => document.getElementById(id);
  const cards = jobs.map((_, n) => by(`job-${n}`));
  const find = by("find"), list = by("cards"), chips = [...document.querySelectorAll(".chip")];
  const ticks = [...document.querySelectorAll("input[data-job]")];
  document.documentElement.classList.add("scripted");

  // sRGB (IEC 61966-2-1) to L*a*b* under D65, the numbers the jobs' colours are in.
  function labOf(hex) {
    const full = hex.length === 4 ? hex.replace(/[0-9a-f]/gi, "$&$&") : hex;
    const [r, g, b] = [1, 3, 5].map((at) => {
      const code = parseInt(full.slice(at, at + 2), 16) / 255;
      return code <= 0.04045 ? code / 12.92 : ((code + 0.055) / 1.055) ** 2.4;
    });

    const f = TO_XYZ.map(([x, y, z]) => {
      const t = (x * r + y * g + z * b) / (x + y + z);
      return t > 216 / 24389 ? Math.cbrt(t) : ((24389 / 27) * t + 16) / 116;
    });
    return [116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])];
  }
  const TO_XYZ = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];

  // CIEDE2000 (ISO/CIE 11664-6).
  function de00([l1, a1, b1], [l2, a2, b2]) {
    const rad = Math.PI / 180, far = 25 ** 7;
    const mean7 = ((Math.hypot(a1, b1) + Math.hypot(a2, b2)) / 2) ** 7;
    const grow = 1 + 0.5 * (1 - Math.sqrt(mean7 / (mean7 + far)));
    const c1 = Math.hypot(grow * a1, b1), c2 = Math.hypot(grow * a2, b2);
    const hue = (a, b) => (a === 0 && b === 0 ? 0 : (Math.atan2(b, grow * a) / rad + 360) % 360);
    const h1 = hue(a1, b1), h2 = hue(a2, b2), grey = c1 * c2 === 0;
    let dh = grey ? 0 : h2 - h1;
    if (dh > 180) dh -= 360; else if (dh < -180) dh += 360;
    let h = h1 + h2;
    if (!grey) h = Math.abs(h1 - h2) <= 180 ? h / 2 : h < 360 ? (h + 360) / 2 : (h - 360) / 2;
    const dH = 2 * Math.sqrt(c1 * c2) * Math.sin((dh / 2) * rad);
    const l = (l1 + l2) / 2, c = (c1 + c2) / 2, c7 = c ** 7;
    const t = 1 - 0.17 * Math.cos((h - 30) * rad) + 0.24 * Math.cos(2 * h * rad)
      + 0.32 * Math.cos((3 * h + 6) * rad) - 0.2 * Math.cos((4 * h - 63) * rad);
    const sl = 1 + (0.015 * (l - 50) ** 2) / Math.sqrt(20 + (l - 50) ** 2), sc = 1 + 0.045 * c, sh = 1 + 0.015 * c * t;
    const turn = -2 * Math.sqrt(c7 / (c7 + far)) * Math.sin(60 * Math.exp(-(((h - 275) / 25) ** 2)) * rad);
    const [dl, dc, dhh] = [(l2 - l1) / sl, (c2 - c1) / sc, dH / sh];
    return Math.sqrt(dl * dl + dc * dc + dhh * dhh + turn * dc * dhh);
  }
  window.bookColours = { labOf, de00 };

  const COLOUR = /#[0-9a-f]{6}\b|#[0-9a-f]{3}\b/i;
  function asked(text) {
    const found = text.match(COLOUR);
    if (!found) return { words: text.toLowerCase().split(/\s+/).filter(Boolean), hex: null, over: [] };
    const before = text.slice(0, found.index), after = text.slice(found.index + found[0].length);
    const over = after.match(/^\s*(?:over|on)\s+(\S+)/i);
    const rest = `${before.replace(/\blike\s*$/i, "")} ${over ? after.slice(over[0].length) : after}`;
    return { words: rest.toLowerCase().split(/\s+/).filter(Boolean), hex: found[0], over: over ? [over[1].toLowerCase()] : [] };
  }

  function nearest(job, lab, over) {
    const there = job.colours.filter((colour) => over.every((word) => colour.over.includes(word)));
    return there.map((colour) => ({ colour, apart: de00(lab, colour.lab) })).sort((a, b) => a.apart - b.apart)[0];
  }

  const SVG = "http://www.w3.org/2000/svg";
  function swatch(fill) {
    const svg = document.createElementNS(SVG, "svg"), rect = document.createElementNS(SVG, "rect");
    svg.setAttribute("class", "swatch");
    svg.setAttribute("viewBox", "0 0 1 1");
    svg.setAttribute("preserveAspectRatio", "none");
    svg.setAttribute("aria-hidden", "true");
    for (const [name, value] of Object.entries({ width: 1, height: 1, fill })) rect.setAttribute(name, value);
    svg.append(rect);
    return svg;
  }
  function made(name, text = "", kind = "") {
    const element = document.createElement(name);
    element.textContent = text;
    if (kind) element.className = kind;
    return element;
  }

  function show() {
    const { words, hex, over } = asked(find.value.trim());
    const pressed = chips.filter((chip) => chip.getAttribute("aria-pressed") === "true").map((chip) => chip.dataset.word);
    const lab = hex && labOf(hex);
    const shown = [];
    jobs.forEach((job, n) => {
      const near = lab && nearest(job, lab, over);
      const fits = words.every((word) => job.words.includes(word)) && pressed.every((dye) => job.dyes.includes(dye)) && (!lab || near);
      const line = cards[n].querySelector(".near");
      cards[n].hidden = !fits;
      line.hidden = !(fits && near);
      if (!fits) return;
      shown.push({ n, apart: near ? near.apart : 0 });
      if (near) {
        const pair = made("span", "", "pair");
        pair.append(swatch(hex), swatch(near.colour.srgb));
        line.replaceChildren(pair, made("span", `${near.colour.place}: ${near.apart.toFixed(1)} dE00 away`));
      }
    });
    if (lab) shown.sort((a, b) => a.apart - b.apart);
    const order = [...shown.map(({ n }) => n), ...jobs.keys()];
    list.append(...new Set(order.map((n) => cards[n])));
    by("none").hidden = shown.length > 0;
    const asking = words.length || pressed.length || lab;
    by("found").textContent = asking ? `${shown.length} of ${jobs.length} jobs${lab ? ", the nearest colour first" : ""}` : "";
  }

  function layBeside() {
    const two = ticks.filter((tick) => tick.checked).map((tick) => Number(tick.dataset.job));
    const panel = by("beside"), lines = by("beside-lines");
    panel.hidden = two.length < 2;
    for (const tick of ticks) tick.disabled = two.length === 2 && !tick.checked;
    if (panel.hidden) return;
    lines.replaceChildren();
    for (const n of two) {
      const cell = made("div"), image = cards[n].querySelector("img");
      if (image) cell.append(image.cloneNode());
      cell.append(made("h3", jobs[n].name));
      lines.append(cell);
    }
    const [one, other] = two.map((n) => jobs[n]);
    const most = Math.min(4, Math.max(one.colours.length, other.colours.length));
    for (let i = 0; i < most; i++) {
      const pair = [one.colours[i], other.colours[i]];
      const apart = pair[0] && pair[1] ? `: ${de00(pair[0].lab, pair[1].lab).toFixed(1)} dE00 apart` : "";
      lines.append(made("h3", `colour ${i + 1}${apart}`, "differs"));
      for (const colour of pair) {
        const cell = made("p");
        if (colour) cell.append(swatch(colour.srgb), `${colour.place} ${colour.srgb}`);
        lines.append(cell);
      }
    }
    const facts = one.facts.map(([what, text], i) => ({ what, pair: [text, other.facts[i][1]] })).filter(({ pair }) => pair[0] || pair[1]);
    const differs = ({ pair }) => pair[0] !== pair[1];
    for (const fact of [...facts.filter(differs), ...facts.filter((each) => !differs(each))]) {
      lines.append(made("h3", fact.what + (differs(fact) ? "" : ", the same"), differs(fact) ? "differs" : ""));
      for (const text of fact.pair) lines.append(made("p", text || "\u2013"));
    }
    panel.scrollIntoView({ block: "start" });
    panel.focus({ preventScroll: true });
  }

  find.addEventListener("input", show);
  find.form.addEventListener("submit", (event) => event.preventDefault());
  by("pick").addEventListener("input", (event) => {
    const over = find.value.match(/\s+over\s+\S+/i);
    const rest = find.value.replace(COLOUR, "").replace(/\s+over\s+\S+/i, "").trim();
    find.value = `${rest} ${event.target.value}${over ? over[0] : ""}`.trim();
    show();
  });
  for (const chip of chips) {
    chip.addEventListener("click", () => {
      chip.setAttribute("aria-pressed", String(chip.getAttribute("aria-pressed") !== "true"));
      show();
    });
  }
  for (const tick of ticks) tick.addEventListener("change", layBeside);
  by("apart").addEventListener("click", () => {
    const first = ticks.find((tick) => tick.checked);
    for (const tick of ticks) tick.checked = false;
    layBeside();
    if (first) first.focus();
  });
  show();
})();
