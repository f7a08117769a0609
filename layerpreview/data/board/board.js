/* The board's controls. Everything a person wrote is put in as text, never as markup. */
(function () {
  "use strict";
  const byId = function (id) { return document.getElementById(id); };
  const data = JSON.parse(byId("data").textContent);
  const words = data.words;
  const stage = byId("stage"), canvas = byId("canvas");
  const root = document.documentElement;
  const MOST_RUNGS = 9, RUNG_PX = 96;

  const state = {
    option: 0, compare: "none", divider: 0.5, light: data.lights[0], tilt: 0,
    bare: false, range: "likely", hatch: false, zoom: 1, x: 0.5, y: 0.5, rung: {}, face: null,
    set: data.options.map(proposed),
  };
  let painter = null, waiting = false, later = 0, coarse = 1, slow = 1;
  const FRAME_MS = 40;

  function proposed(option) {
    return {
      coats: option.coats.map(function (coat) { return coat.coats; }),
      strength: option.mixes.map(function () { return 100; }),
    };
  }

  function fill(text, values) {
    return text.replace(/\{(\w+)\}/g, function (all, name) { return name in values ? String(values[name]) : all; });
  }

  function make(tag, values, children) {
    const element = document.createElement(tag);
    Object.keys(values || {}).forEach(function (name) {
      const value = values[name];
      if (name === "text") { element.textContent = value; }
      else if (name === "on") { Object.keys(value).forEach(function (on) { element.addEventListener(on, value[on]); }); }
      else if (value !== null && value !== false) { element.setAttribute(name, value === true ? "" : value); }
    });
    (children || []).forEach(function (child) { element.append(child); });
    return element;
  }

  function lightWords(light) { return words["light_" + light] || light; }

  function coatName(coat) { return coat.label + ", " + coat.where; }

  function coatsWords(n) {
    const shown = Math.round(n * 10) / 10;
    return shown === 0 ? words.no_coats : shown === 1 ? words.one_coat : fill(words.coats, { n: shown });
  }

  /* What is to be drawn ------------------------------------------------------------------------------------------ */

  function factors(index, set, bare) {
    const option = data.options[index];
    const found = option.coats.map(function (coat, i) {
      if (bare) { return 0; }
      const mix = option.mixes.findIndex(function (m) { return m.name === coat.mix; });
      const film = state.range === "low" ? coat.film[0] : state.range === "high" ? coat.film[1] : 1;
      return (set.coats[i] / coat.coats) * (mix < 0 ? 1 : (set.strength[mix] / 100) * film);
    });
    /* Later coats pool less: Painter works out by how much. */
    found.coats = option.coats.map(function (coat, i) { return set ? set.coats[i] : coat.coats; });
    return found;
  }

  function other() {
    if (state.compare === "none") { return null; }
    if (state.compare === "bare") { return { option: state.option, factors: factors(state.option, null, true), name: words.bare }; }
    if (state.compare === "proposed") {
      const set = proposed(data.options[state.option]);
      return { option: state.option, factors: factors(state.option, set, state.bare), name: words.compare_proposed };
    }
    const index = Number(state.compare);
    return {
      option: index, factors: factors(index, state.set[index], state.bare),
      name: fill(words.option, { letter: data.options[index].letter }),
    };
  }

  /* What the stage is about: one face, or the picture of all of them. */
  function subject(option) {
    const face = state.face !== null && option.faces[state.face];
    return face || { left: 0, top: 0, width: option.width, height: option.height };
  }

  function fitScale(option) {
    const about = subject(option);
    return Math.min(canvas.width / about.width, canvas.height / about.height) * 0.94;
  }

  function fullZoom() {
    return Math.max(1, Math.max(1, Math.round(window.devicePixelRatio)) / coarse / fitScale(data.options[state.option]));
  }

  function placed(option) {
    const about = subject(option);
    let scale = state.zoom * fitScale(option);
    /* whole numbers of pixels: at full detail the picture is shown as it is, not resampled */
    if (Math.abs(scale - Math.round(scale)) < 1e-4) { scale = Math.round(scale); }
    return {
      scale: scale,
      left: Math.round(canvas.width / 2 - (about.left + state.x * about.width) * scale),
      top: Math.round(canvas.height / 2 - (about.top + state.y * about.height) * scale),
    };
  }

  function drawOne(box, index, factor, extra) {
    const option = data.options[index];
    const at = extra || placed(option);
    const degrees = option.views_deg;
    let low = 0;
    while (low + 1 < degrees.length && degrees[low + 1] <= state.tilt) { low += 1; }
    const between = low + 1 < degrees.length ? (state.tilt - degrees[low]) / (degrees[low + 1] - degrees[low]) : 0;
    const shot = {
      option: index, light: state.light, view: low, factors: factor, scale: at.scale, left: at.left, top: at.top,
      mode: at.mode === undefined ? (state.hatch ? 1 : 0) : at.mode, fade: 1,
      only: extra || state.face === null || !option.faces[state.face] ? null : state.face,
    };
    if (shot.mode === 2) { return painter.shareOutside(box, shot); }
    painter.draw(box, shot);
    if (between > 0.01) {
      painter.draw(box, Object.assign({}, shot, { view: low + 1, fade: between }));
    }
    return 0;
  }

  function draw() {
    waiting = false;
    const box = { left: 0, top: 0, width: canvas.width, height: canvas.height };
    const second = other();
    const mine = factors(state.option, state.set[state.option], state.bare);
    if (!second) {
      drawOne(box, state.option, mine);
      return;
    }
    const cut = Math.round(canvas.width * state.divider);
    if (cut > 0) { drawOne({ left: 0, top: 0, width: cut, height: box.height }, state.option, mine); }
    if (cut < canvas.width) {
      drawOne({ left: cut, top: 0, width: canvas.width - cut, height: box.height }, second.option, second.factors);
    }
  }

  function redraw() {
    if (!painter) { return; }
    if (!waiting) {
      waiting = true;
      /* where drawing is slow, moving is drawn with fewer pixels and sharpened once it stops */
      if (coarse !== slow) { coarse = slow; fit(); }
      window.requestAnimationFrame(draw);
    }
    stage.removeAttribute("data-settled");
    window.clearTimeout(later);
    later = window.setTimeout(settle, 160);
  }

  /* After the last change: the ladder, the share outside the screen's colours, and the words. */
  function settle() {
    if (!painter) { return; }
    coarse = 1;
    fit();
    drawRungs();
    const option = data.options[state.option];
    const scale = Math.min(140 / option.width, 140 / option.height, 1);
    const box = { left: 0, top: 0, width: Math.min(canvas.width, Math.ceil(option.width * scale)), height: Math.min(canvas.height, Math.ceil(option.height * scale)) };
    const mine = factors(state.option, state.set[state.option], state.bare);
    const share = drawOne(box, state.option, mine, { scale: scale, left: 0, top: 0, mode: 2 });
    byId("share-outside").textContent = share >= 0.0005 ? fill(words.hatch_share, { n: (100 * share).toFixed(1) }) : words.hatch_none;
    painter.finish();
    const started = performance.now();
    draw();
    painter.finish();
    slow = Math.min(3, Math.max(1, Math.sqrt((performance.now() - started) / FRAME_MS)));
    if (slow < 1.2) { slow = 1; }
    stage.setAttribute("data-settled", "yes");
    say();
  }

  function say() {
    const option = data.options[state.option], set = state.set[state.option];
    byId("says").textContent = fill(words.approximate, { light: lightWords(state.light) });
    const coats = state.bare ? "" : option.coats.map(function (coat, i) {
      return coat.label + ": " + coatsWords(set.coats[i]);
    }).join(", ");
    stage.setAttribute("aria-label", fill(words.picture_label, {
      option: fill(words.option, { letter: option.letter }), what: state.bare ? words.bare : words.finished,
      light: lightWords(state.light), coats: coats,
    }));
    stage.removeAttribute("aria-labelledby");
    const second = other(), chips = [byId("chip-left"), byId("chip-right")];
    chips[0].textContent = fill(words.option, { letter: option.letter });
    chips[1].textContent = second ? second.name : "";
    chips.forEach(function (chip) { chip.hidden = !second; });
    byId("divider").hidden = !second;
    setDivider(state.divider, second);
  }

  /* The ladder --------------------------------------------------------------------------------------------------- */

  function rungCoat() {
    const option = data.options[state.option];
    if (!(state.option in state.rung)) {
      state.rung[state.option] = Math.max(0, option.coats.findIndex(function (coat) { return coat.mix !== null; }));
    }
    return state.rung[state.option];
  }

  function rungSteps(coat) {
    const first = Math.max(coat.fewest, Math.min(1, coat.most)), all = [];
    const stride = Math.max(1, Math.ceil((coat.most - first + 1) / MOST_RUNGS));
    for (let n = first; n <= coat.most; n += stride) { all.push(n); }
    return all;
  }

  function buildRungs() {
    const option = data.options[state.option], at = rungCoat(), coat = option.coats[at], rungs = byId("rungs");
    rungs.replaceChildren();
    const which = byId("ladder-of");
    which.replaceChildren.apply(which, option.coats.map(function (c, i) {
      return make("option", { value: i, text: coatName(c), selected: i === at });
    }));
    if (!coat) { return; }
    const about = subject(option), ratio = about.height / about.width;
    const size = ratio > 1.3 ? { width: Math.round((RUNG_PX * 1.3) / ratio), height: Math.round(RUNG_PX * 1.3) }
      : ratio < 0.5 ? { width: RUNG_PX * 2, height: Math.round(RUNG_PX * 2 * ratio) }
        : { width: RUNG_PX, height: Math.round(RUNG_PX * ratio) };
    rungSteps(coat).forEach(function (n) {
      rungs.append(make("button", {
        type: "button", class: "rung", "data-n": n,
        on: { click: function () { setCoats(at, n); } },
      }, [make("canvas", { width: 2 * size.width, height: 2 * size.height, "aria-hidden": "true" }), make("span", { text: coatsWords(n) })]));
    });
    markRungs();
  }

  function markRungs() {
    const at = rungCoat(), now = state.set[state.option].coats[at];
    Array.prototype.forEach.call(byId("rungs").children, function (rung) {
      rung.setAttribute("aria-pressed", String(Math.abs(Number(rung.dataset.n) - now) < 0.05));
    });
  }

  function drawRungs() {
    const option = data.options[state.option], at = rungCoat(), about = subject(option);
    Array.prototype.forEach.call(byId("rungs").children, function (rung) {
      const small = rung.firstChild, set = state.set[state.option];
      const width = Math.min(small.width, canvas.width), height = Math.min(small.height, canvas.height);
      const scale = Math.min(width / about.width, height / about.height) * 0.96;
      const coats = set.coats.slice();
      coats[at] = Number(rung.dataset.n);
      drawOne({ left: 0, top: 0, width: width, height: height }, state.option,
        factors(state.option, { coats: coats, strength: set.strength }, false), {
          scale: scale, mode: 0,
          left: (width - about.width * scale) / 2 - about.left * scale,
          top: (height - about.height * scale) / 2 - about.top * scale,
        });
      const pen = small.getContext("2d", { colorSpace: painter.wide ? "display-p3" : "srgb", alpha: false });
      pen.drawImage(canvas, 0, 0, width, height, 0, 0, small.width, small.height);
    });
    markRungs();
  }

  /* The panel ---------------------------------------------------------------------------------------------------- */

  function radios(name, title, choices, now, change) {
    return make("fieldset", { class: "choices" }, [make("legend", { text: title })].concat(choices.map(function (choice) {
      const id = name + "-" + choice[0];
      return make("span", { class: "choice" }, [
        make("input", { type: "radio", id: id, name: name, value: choice[0], checked: choice[0] === now, on: { change: function () { change(choice[0]); redraw(); } } }),
        make("label", { for: id, text: choice[1] }),
      ]);
    })));
  }

  function slider(id, title, values, shown, change, buttons) {
    const out = make("output", { for: id, text: shown(values.now) });
    const input = make("input", {
      type: "range", id: id, min: values.min, max: values.max, step: values.step, value: values.now,
      "aria-valuetext": shown(values.now),
      on: { input: function () { move(Number(input.value)); } },
    });
    function move(value) {
      const held = Math.min(values.max, Math.max(values.min, value));
      input.value = String(held);
      out.textContent = shown(held);
      input.setAttribute("aria-valuetext", shown(held));
      change(held);
      redraw();
    }
    const line = [input];
    if (buttons) {
      line.unshift(make("button", { type: "button", class: "step", "aria-label": buttons[0], text: "\u2212", on: { click: function () { move(Math.ceil(Number(input.value) - 1.0001)); } } }));
      line.push(make("button", { type: "button", class: "step", "aria-label": buttons[1], text: "+", on: { click: function () { move(Math.floor(Number(input.value) + 1.0001)); } } }));
    }
    return make("div", { class: "slider" }, [
      make("div", { class: "slider-head" }, [make("label", { for: id, text: title }), out]),
      make("div", { class: "slider-line" }, line),
    ]);
  }

  function setCoats(at, n) {
    state.set[state.option].coats[at] = n;
    state.rung[state.option] = at;
    buildPanel();
    buildRungs();
    redraw();
  }

  function buildPanel() {
    const option = data.options[state.option], set = state.set[state.option], panel = byId("panel");
    const held = document.activeElement && panel.contains(document.activeElement) ? document.activeElement.id : "";
    const parts = [];
    parts.push(radios("light", words.light, data.lights.map(function (l) { return [l, lightWords(l)]; }), state.light, function (v) { state.light = v; }));
    parts.push(radios("show", words.show, [["finished", words.finished], ["bare", words.bare]], state.bare ? "bare" : "finished", function (v) { state.bare = v === "bare"; }));
    if (option.views_deg.length > 1) {
      parts.push(make("div", { class: "group" }, [
        slider("tilt", words.tilt, { min: 0, max: option.views_deg[option.views_deg.length - 1], step: 1, now: state.tilt },
          function (n) { return fill(words.tilt_value, { n: Math.round(n) }); }, function (n) { state.tilt = n; }),
        make("p", { class: "hint", text: words.tilt_hint }),
      ]));
    }
    const coats = option.coats.map(function (coat, i) {
      if (coat.fewest === coat.most) {
        return make("p", { class: "fixed", text: coatName(coat) + ": " + coatsWords(coat.coats) });
      }
      const what = coatName(coat);
      return slider("coats-" + i, what, { min: coat.fewest, max: coat.most, step: 0.1, now: set.coats[i] }, coatsWords, function (n) {
        set.coats[i] = n;
        if (rungCoat() !== i) { state.rung[state.option] = i; buildRungs(); }
        markRungs();
      }, [fill(words.fewer, { what: what }), fill(words.more, { what: what })]);
    });
    parts.push(make("div", { class: "group", role: "group", "aria-label": words.coats_title }, [make("h2", { class: "small-title", text: words.coats_title })].concat(coats)));
    const strengths = option.mixes.filter(function (mix) { return mix.weakest < mix.strongest; });
    if (strengths.length) {
      parts.push(make("div", { class: "group", role: "group", "aria-label": words.strength_title }, [make("h2", { class: "small-title", text: words.strength_title })].concat(strengths.map(function (mix) {
        const i = option.mixes.indexOf(mix);
        return slider("strength-" + i, mix.name, { min: mix.weakest, max: mix.strongest, step: 1, now: set.strength[i] },
          function (n) { return fill(words.percent, { n: Math.round(n) }); }, function (n) { set.strength[i] = n; });
      }))));
    }
    parts.push(make("button", { type: "button", class: "quiet", id: "reset", text: words.reset, on: { click: function () {
      state.set[state.option] = proposed(option);
      buildPanel();
      redraw();
    } } }));
    parts.push(radios("range", words.range_title, [["low", words.range_low], ["likely", words.range_likely], ["high", words.range_high]], state.range, function (v) { state.range = v; }));
    parts.push(make("p", { class: "hint", text: words.range_hint }));
    const choices = [["none", words.compare_none], ["proposed", words.compare_proposed], ["bare", words.compare_bare]];
    data.options.forEach(function (o, i) {
      if (i !== state.option) { choices.push([String(i), fill(words.option, { letter: o.letter }) + ": " + o.name]); }
    });
    const select = make("select", { id: "compare", on: { change: function () { state.compare = select.value; redraw(); say(); } } }, choices.map(function (c) {
      return make("option", { value: c[0], text: c[1], selected: c[0] === state.compare });
    }));
    parts.push(make("div", { class: "group" }, [make("label", { class: "small-title", for: "compare", text: words.compare }), select]));
    const hatch = make("input", { type: "checkbox", id: "hatch", checked: state.hatch, on: { change: function () { state.hatch = hatch.checked; redraw(); } } });
    parts.push(make("div", { class: "group" }, [
      make("div", { class: "tick" }, [hatch, make("label", { for: "hatch", text: words.hatch })]),
      make("p", { class: "hint", id: "share-outside", role: "status" }),
    ]));
    panel.replaceChildren.apply(panel, parts);
    if (held && byId(held)) { byId(held).focus(); }
    byId("choose").textContent = fill(words.choose, { letter: option.letter });
  }

  function buildOptions() {
    const tabs = byId("options");
    tabs.replaceChildren.apply(tabs, data.options.map(function (option, i) {
      const id = "option-tab-" + i;
      return make("span", { class: "tab" }, [
        make("input", { type: "radio", name: "option", id: id, checked: i === state.option, on: { change: function () { take(i); } } }),
        make("label", { for: id }, [make("b", { text: option.letter }), " " + option.name]),
      ]);
    }));
    tabs.hidden = data.options.length < 2;
  }

  function buildFaces() {
    const option = data.options[state.option], select = byId("face");
    if (state.face !== null && state.face >= option.faces.length) { state.face = null; }
    select.hidden = option.faces.length < 2;
    select.replaceChildren.apply(select, [make("option", { value: "", text: words.face_all, selected: state.face === null })].concat(
      option.faces.map(function (face, i) { return make("option", { value: i, text: face.name, selected: state.face === i }); })
    ));
  }

  function take(index) {
    if (state.compare === String(index)) { state.compare = String(state.option); }
    state.option = index;
    const option = data.options[index];
    state.tilt = Math.min(state.tilt, option.views_deg[option.views_deg.length - 1]);
    buildFaces();
    buildPanel();
    buildRungs();
    redraw();
  }

  /* Looking closer ------------------------------------------------------------------------------------------------ */

  function zoomTo(zoom, px, py) {
    const option = data.options[state.option], about = subject(option), before = placed(option);
    const x = px === undefined ? canvas.width / 2 : px, y = py === undefined ? canvas.height / 2 : py;
    const u = (x - before.left) / before.scale, v = (y - before.top) / before.scale;
    state.zoom = Math.min(Math.max(1, 2 * fullZoom()), Math.max(1, zoom));
    const scale = state.zoom * fitScale(option);
    state.x = (u - (x - canvas.width / 2) / scale - about.left) / about.width;
    state.y = (v - (y - canvas.height / 2) / scale - about.top) / about.height;
    hold();
  }

  function hold() {
    if (state.zoom <= 1) { state.x = 0.5; state.y = 0.5; }
    state.x = Math.min(1, Math.max(0, state.x));
    state.y = Math.min(1, Math.max(0, state.y));
    stage.classList.toggle("close", state.zoom > 1);
    redraw();
  }

  function move(dx, dy) {
    const option = data.options[state.option], about = subject(option), scale = placed(option).scale;
    state.x -= dx / (scale * about.width);
    state.y -= dy / (scale * about.height);
    hold();
  }

  function setDivider(share, second) {
    state.divider = Math.min(1, Math.max(0, share));
    const divider = byId("divider"), percent = Math.round(100 * state.divider);
    divider.style.left = 100 * state.divider + "%";
    divider.setAttribute("aria-valuenow", String(percent));
    divider.setAttribute("aria-valuetext", fill(words.divider_value, {
      n: percent, left: fill(words.option, { letter: data.options[state.option].letter }), right: second ? second.name : "",
    }));
  }

  function listen() {
    const fingers = new Map();
    let gap = 0;
    const spot = function (event) {
      const box = canvas.getBoundingClientRect(), ratio = canvas.width / box.width;
      return { x: (event.clientX - box.left) * ratio, y: (event.clientY - box.top) * ratio };
    };
    canvas.addEventListener("pointerdown", function (event) {
      fingers.set(event.pointerId, spot(event));
      if (state.zoom > 1 || fingers.size > 1) { canvas.setPointerCapture(event.pointerId); }
      gap = 0;
    });
    canvas.addEventListener("pointermove", function (event) {
      const was = fingers.get(event.pointerId);
      if (!was) { return; }
      const now = spot(event);
      fingers.set(event.pointerId, now);
      if (fingers.size === 2) {
        const two = Array.from(fingers.values());
        const wide = Math.hypot(two[0].x - two[1].x, two[0].y - two[1].y);
        if (gap) { zoomTo((state.zoom * wide) / gap, (two[0].x + two[1].x) / 2, (two[0].y + two[1].y) / 2); }
        gap = wide;
      } else if (state.zoom > 1) {
        move(now.x - was.x, now.y - was.y);
      }
    });
    ["pointerup", "pointercancel", "pointerleave"].forEach(function (name) {
      canvas.addEventListener(name, function (event) { fingers.delete(event.pointerId); gap = 0; });
    });
    canvas.addEventListener("wheel", function (event) {
      if (state.zoom <= 1 && event.deltaY > 0 && !event.ctrlKey) { return; }
      event.preventDefault();
      const at = spot(event);
      zoomTo(state.zoom * Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0015)), at.x, at.y);
    }, { passive: false });
    canvas.addEventListener("dblclick", function (event) {
      const at = spot(event);
      zoomTo(state.zoom > 1 ? 1 : fullZoom(), at.x, at.y);
    });
    stage.addEventListener("keydown", function (event) {
      const step = 0.1 * canvas.width;
      const keys = {
        "+": function () { zoomTo(state.zoom * 1.25); }, "=": function () { zoomTo(state.zoom * 1.25); },
        "-": function () { zoomTo(state.zoom / 1.25); }, 0: function () { zoomTo(1); },
        1: function () { zoomTo(fullZoom()); },
        ArrowLeft: function () { move(step, 0); }, ArrowRight: function () { move(-step, 0); },
        ArrowUp: function () { move(0, step); }, ArrowDown: function () { move(0, -step); },
      };
      if (event.target === stage && keys[event.key] && !event.ctrlKey && !event.metaKey) {
        event.preventDefault();
        keys[event.key]();
      }
    });
    const divider = byId("divider");
    divider.addEventListener("pointerdown", function (event) { divider.setPointerCapture(event.pointerId); event.preventDefault(); divider.focus(); });
    divider.addEventListener("pointermove", function (event) {
      if (divider.hasPointerCapture(event.pointerId)) {
        const box = canvas.getBoundingClientRect();
        setDivider((event.clientX - box.left) / box.width, other());
        redraw();
      }
    });
    divider.addEventListener("keydown", function (event) {
      const steps = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02, PageDown: -0.1, PageUp: 0.1, Home: -1, End: 1 };
      if (event.key in steps) {
        event.preventDefault();
        setDivider(state.divider + steps[event.key], other());
        redraw();
      }
    });
    byId("ladder-of").addEventListener("change", function () {
      state.rung[state.option] = Number(byId("ladder-of").value);
      buildRungs();
      redraw();
    });
    byId("face").addEventListener("change", function () {
      state.face = byId("face").value === "" ? null : Number(byId("face").value);
      state.zoom = 1;
      buildRungs();
      hold();
    });
    byId("zoom-in").addEventListener("click", function () { zoomTo(state.zoom * 1.4); });
    byId("zoom-out").addEventListener("click", function () { zoomTo(state.zoom / 1.4); });
    byId("zoom-all").addEventListener("click", function () { zoomTo(1); });
    byId("zoom-full").addEventListener("click", function () { zoomTo(fullZoom()); });
    new ResizeObserver(function () { if (fit()) { redraw(); } }).observe(stage);
  }

  function fit() {
    const box = stage.getBoundingClientRect();
    /* beyond three million pixels the eye gains nothing and a phone's battery loses */
    const ratio = Math.min(window.devicePixelRatio, Math.sqrt(3e6 / Math.max(1, box.width * box.height))) / coarse;
    const width = Math.max(1, Math.round(box.width * ratio)), height = Math.max(1, Math.round(box.height * ratio));
    if (width !== canvas.width || height !== canvas.height) {
      canvas.width = width;
      canvas.height = height;
      return true;
    }
    return false;
  }

  /* Choosing ------------------------------------------------------------------------------------------------------ */

  function chosen(index) {
    const option = data.options[index], set = state.set[index];
    const coats = set.coats.map(function (n) { return Math.round(n); });
    const strengths = set.strength.map(function (n) { return Math.round(n); });
    const lines = option.coats.map(function (coat, i) {
      return fill(words.agree.coats, { what: coatName(coat), n: coatsWords(coats[i]) });
    }).concat(option.mixes.map(function (mix, i) {
      return fill(words.agree.strength, { what: mix.name, n: strengths[i] });
    }));
    return {
      lines: lines, code: Codes.codeOf(data.board, option.letter, coats, strengths),
      rounded: set.coats.some(function (n, i) { return Math.abs(n - coats[i]) > 1e-9; }),
    };
  }

  function openChoice(index) {
    const option = data.options[index], dialog = byId("dialog"), choice = chosen(index);
    byId("dialog-title").textContent = fill(words.choose_title, { letter: option.letter });
    byId("chosen").replaceChildren.apply(byId("chosen"), choice.lines.map(function (line) { return make("li", { text: line }); }));
    byId("rounded").hidden = !choice.rounded;
    byId("code").value = choice.code;
    byId("done").textContent = "";
    dialog.dataset.option = String(index);
    writeText();
    dialog.showModal();
  }

  function writeText() {
    const index = Number(byId("dialog").dataset.option), option = data.options[index], choice = chosen(index);
    const note = Codes.normalised(byId("note").value);
    const text = Codes.sealed([
      data.text_begins, data.title,
      fill(words.agree.option, { letter: option.letter, name: option.name }),
    ].concat(choice.lines, [
      fill(words.agree.seen, { light: lightWords(state.light) }),
      "Note: " + (note || "-"),
      "Code: " + choice.code,
    ]), data.text_ends);
    const subject = fill(words.mail_subject, { letter: option.letter, name: data.title });
    byId("text").value = text;
    byId("mail").href = "mailto:?subject=" + encodeURIComponent(subject) + "&body=" + encodeURIComponent(text.replace(/\n/g, "\r\n"));
    const old = byId("save").href;
    if (old.indexOf("blob:") === 0) { URL.revokeObjectURL(old); }
    byId("save").href = URL.createObjectURL(new Blob([text], { type: "text/plain;charset=utf-8" }));
    byId("save").download = choice.code + ".txt";
    return { subject: subject, text: text };
  }

  function copy(id) {
    const field = byId(id), done = byId("done");
    const refused = function () {
      field.focus();
      field.select();
      done.textContent = document.execCommand && document.execCommand("copy") ? words.copied : words.copy_failed;
    };
    if (navigator.clipboard && navigator.clipboard.writeText) {
      navigator.clipboard.writeText(field.value).then(function () { done.textContent = words.copied; }, refused);
    } else {
      refused();
    }
  }

  function listenChoice() {
    byId("choose").addEventListener("click", function () { openChoice(state.option); });
    Array.prototype.forEach.call(document.querySelectorAll("[data-choose]"), function (button) {
      button.addEventListener("click", function () { openChoice(Number(button.dataset.choose)); });
    });
    byId("note").addEventListener("input", writeText);
    byId("copy-code").addEventListener("click", function () { copy("code"); });
    byId("copy-text").addEventListener("click", function () { copy("text"); });
    if (navigator.share) {
      byId("share").hidden = false;
      byId("share").addEventListener("click", function () {
        const message = writeText();
        navigator.share({ title: message.subject, text: message.text }).catch(function () { return null; });
      });
    }
  }

  /* Beginning ----------------------------------------------------------------------------------------------------- */

  function asPictures() {
    painter = null;
    root.classList.add("plain");
    byId("live").hidden = true;
    byId("notice").textContent = words.no_live;
  }

  async function begin() {
    try {
      painter = null;
      const made = new Painter(canvas, data);
      root.classList.remove("plain");
      byId("live").hidden = false;
      fit();
      made.begin();
      await made.prepare(state.option);
      painter = made;
      byId("screen").hidden = false;
      byId("screen").textContent = made.wide ? words.screen_p3 : words.screen_srgb;
      byId("wait").hidden = true;
      draw();
      made.finish();
      stage.setAttribute("data-ready", String(Math.round(performance.now())));
      say();
      redraw();
      for (let i = 0; i < data.options.length; i += 1) {
        await made.prepare(i);
        if (made === painter) { redraw(); }
      }
      for (let i = 0; i < data.options.length; i += 1) { await made.prepareTilt(i); }
      stage.setAttribute("data-complete", "yes");
      redraw();
    } catch (error) {
      asPictures();
      stage.setAttribute("data-error", String(error));
    }
  }

  root.classList.add("scripted");
  /* on an upright phone a row of faces would be small: begin with the first one */
  if (data.options[0].faces.length > 1 && data.options[0].width > 1.2 * data.options[0].height && window.innerWidth < 0.8 * window.innerHeight) {
    state.face = 0;
  }
  buildFaces();
  buildOptions();
  buildPanel();
  buildRungs();
  listen();
  listenChoice();
  canvas.addEventListener("webglcontextlost", function (event) { event.preventDefault(); painter = null; });
  canvas.addEventListener("webglcontextrestored", begin);
  begin();
})();
