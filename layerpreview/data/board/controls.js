/* What may be set for the option that is looked at: one slider, the lights, and folded what few ask for. */
const Controls = (function () {
  "use strict";
  const data = Store.data, state = Store.state, SPEAK_MS = 500, STRENGTH_STEP = 5;
  const open = {};
  let panel = null, made = {}, speaking = null;

  function begin() {
    panel = document.getElementById("panel");
    Store.on("option lang", build);
    Store.on("set light bare compare film", show);
    build();
  }

  /* An element with attributes (`text`: what it holds, `on`: what it hears) and children. */
  function make(name, given, children) {
    const element = document.createElement(name);
    Object.entries(given || {}).forEach(function (pair) {
      if (pair[0] === "text") { element.textContent = pair[1]; return; }
      if (pair[0] === "on") { Object.keys(pair[1]).forEach(function (event) { element.addEventListener(event, pair[1][event]); }); return; }
      if (pair[1] !== false) { element.setAttribute(pair[0], pair[1] === true ? "" : pair[1]); }
    });
    element.append.apply(element, (children || []).filter(Boolean));
    return element;
  }

  /* One short sentence for who does not see the page; the last of several that come quickly. */
  function speak(text) {
    clearTimeout(speaking);
    speaking = setTimeout(function () { document.getElementById("spoken").textContent = text; }, SPEAK_MS);
  }

  function build() {
    if (state.option === null) { panel.replaceChildren(); made = {}; return; }
    if (state.compare === state.option) { state.compare = null; }
    const option = data.options[state.option], words = Store.words;
    made = { coats: [], strength: [] };
    panel.replaceChildren.apply(panel, [
      option.name !== data.title && make("h2", { class: "option-title" }, [data.options.length > 1 && make("span", { class: "letter", text: option.letter }), make("bdi", { text: option.name })]),
      depth(option, words),
      data.lights.length > 1 && radios("light", words.seen_in, data.lights.map(function (name) { return [name, Words.light(name)]; }), function (name) {
        Store.set({ light: name });
      }),
      made.approximate = make("p", { class: "hint" }),
      fold("compare", words.compare, compare(words)),
      movable(option) && fold("coats", words.fold_coats, coats(option, words)),
      fold("film", words.fold_film, film(words)),
      make("p", {}, [make("button", { type: "button", class: "quiet", id: "again", text: words.again, on: { click: again } })]),
    ].filter(Boolean));
    document.getElementById("choose").textContent = data.options.length > 1 ? Store.fill(words.choose, { letter: option.letter }) : words.choose_one;
    show();
  }

  function movable(option) {
    return option.coats.some(function (coat) { return coat.fewest < coat.most; }) || option.mixes.some(function (mix) { return mix.weakest < mix.strongest; });
  }

  function fold(name, title, children) {
    const details = make("details", { class: "fold", id: "fold-" + name, open: Boolean(open[name]) }, [make("summary", { text: title }), make("div", { class: "fold-in" }, children)]);
    details.addEventListener("toggle", function () { open[name] = details.open; });
    return details;
  }

  /* Paler or deeper ------------------------------------------------------------------------------------------------ */

  function depth(option, words) {
    const found = Depth.positions(option), last = found.all.length - 1;
    made.positions = found;
    if (last === 0) { return movable(option) ? null : make("p", { class: "fixed", text: words.depth_fixed }); }
    made.says = make("output", { for: "depth", id: "depth-says" });
    made.depth = make("input", {
      type: "range", id: "depth", class: "wide", min: 0, max: last, step: 1,
      on: { input: function () { goTo(Number(made.depth.value)); } },
    });
    const mark = make("span", { class: "proposed-mark", "aria-hidden": "true" });
    mark.style.setProperty("--at", String(found.middle / last));
    return make("section", { class: "depth" }, [
      make("div", { class: "slider-head" }, [make("label", { for: "depth", text: words.depth }), made.says]),
      make("div", { class: "slider-line" }, [
        step("\u2212", words.paler_step, "paler", function () { goTo(Number(made.depth.value) - 1, true); }),
        make("span", { class: "track" }, [mark, made.depth]),
        step("+", words.deeper_step, "deeper", function () { goTo(Number(made.depth.value) + 1, true); }),
      ]),
      make("div", { class: "ends" }, [
        make("span", { text: words.paler_end, "aria-hidden": "true" }),
        make("button", { type: "button", class: "quiet", id: "proposed", text: words.reset, on: { click: asProposed } }),
        make("span", { text: words.deeper_end, "aria-hidden": "true" }),
      ]),
    ]);
  }

  function step(sign, label, id, press) {
    return make("button", { type: "button", class: "step", id: id, "aria-label": label, text: sign, on: { click: press } });
  }

  function goTo(at, aloud) {
    const found = made.positions, held = Math.min(found.all.length - 1, Math.max(0, at)), set = found.all[held];
    Store.choose(state.option, set.coats, set.strength);
    if (aloud) { speak(Store.words[Depth.word(found, held)]); }
  }

  function asProposed() {
    goTo(made.positions.middle, true);
    made.depth.focus();
  }

  function again() {
    Store.again();
    speak(Store.words.again_done);
    const next = document.getElementById(state.option === null ? "live" : "depth");
    if (next) { next.focus(); }
  }

  /* What is folded ------------------------------------------------------------------------------------------------- */

  function radios(name, title, choices, change) {
    return make("fieldset", { class: "choices" }, [make("legend", { text: title })].concat(choices.map(function (choice, i) {
      const id = name + "-" + choice[0];
      return make("span", { class: "choice" }, [
        make("input", { type: "radio", id: id, name: name, value: String(i), on: { change: function () { change(choice[0]); } } }),
        make("label", { for: id, text: choice[1] }),
      ]);
    })));
  }

  function compare(words) {
    const others = data.options.map(function (option, i) { return [i, Store.fill(words.option, { letter: option.letter })]; });
    made.compare = [[null, words.compare_none], ["bare", words.compare_bare], ["proposed", words.compare_proposed]].concat(
      others.filter(function (one) { return one[0] !== state.option; }));
    made.bare = make("input", { type: "checkbox", id: "bare", on: { change: function () { Store.set({ bare: made.bare.checked, compare: null }); } } });
    return [
      radios("compare", words.compare_with, made.compare, function (what) { Store.set({ compare: what, bare: false }); }),
      make("label", { class: "tick", for: "bare" }, [made.bare, make("span", { text: words.base_only })]),
    ];
  }

  function film(words) {
    return [
      make("p", { class: "hint", text: words.range_hint }),
      radios("film", words.range_title, [["low", words.range_low], ["likely", words.range_likely], ["high", words.range_high]], function (what) {
        Store.set({ film: what });
      }),
      make("p", { class: "hint", text: words.seen_in + ": " + data.lights.map(Words.lightNamed).join(", ") }),
    ];
  }

  function coats(option, words) {
    const rows = option.coats.map(function (coat, i) {
      const what = Words.coat(coat);
      if (coat.fewest === coat.most) { return make("p", { class: "fixed", text: what + ": " + Words.coats(state.set[state.option].coats[i]) }); }
      const row = slider("coats-" + i, what, [coat.fewest, coat.most], 1, [words.fewer, words.more], Words.coats, function (n) { change("coats", i, n); });
      made.coats[i] = row;
      return row.element;
    });
    option.mixes.forEach(function (mix, m) {
      if (mix.weakest === mix.strongest) { return; }
      const row = slider("strength-" + m, Store.fill(words.strength_of, { what: mix.name }), [mix.weakest, mix.strongest], STRENGTH_STEP,
        [words.weaker, words.stronger], strengthWords, function (n) { change("strength", m, n); }, mix.name);
      made.strength[m] = row;
      rows.push(row.element);
    });
    return rows;
  }

  function strengthWords(n) {
    if (n === 100) { return Store.words.depth_proposed; }
    return Store.fill(n > 100 ? Store.words.strength_more : Store.words.strength_less, { n: Math.abs(n - 100) });
  }

  function change(kind, at, n) {
    const own = state.set[state.option], next = { coats: own.coats.slice(), strength: own.strength.slice() };
    next[kind][at] = n;
    Store.choose(state.option, next.coats, next.strength);
  }

  /* A slider of whole numbers with a button at each end; it is never made anew while it is held. */
  function slider(id, title, ends, by, labels, told, changed, name) {
    const says = make("output", { for: id }), what = name || title;
    const input = make("input", { type: "range", id: id, min: ends[0], max: ends[1], step: 1, on: { input: function () { changed(Number(input.value)); } } });
    const press = function (way) {
      const n = Math.min(ends[1], Math.max(ends[0], Number(input.value) + way * by));
      changed(n);
      speak(what + ": " + told(n));
    };
    const element = make("div", {}, [
      make("div", { class: "slider-head" }, [make("label", { for: id }, [make("bdi", { text: title })]), says]),
      make("div", { class: "slider-line" }, [
        step("\u2212", Store.fill(labels[0], { what: what }), id + "-less", function () { press(-1); }),
        make("span", { class: "track" }, [input]),
        step("+", Store.fill(labels[1], { what: what }), id + "-more", function () { press(1); }),
      ]),
    ]);
    return {
      element: element,
      show: function (n) { put(input, n, told(n)); says.textContent = told(n); ended(element, n <= ends[0], n >= ends[1]); },
    };
  }

  function put(input, n, told) {
    input.value = String(n);
    input.setAttribute("aria-valuetext", told);
  }

  /* A button that leads no further keeps the focus and says so. */
  function ended(element, low, high) {
    const buttons = element.querySelectorAll(".step");
    [low, high].forEach(function (at, k) { buttons[k].setAttribute("aria-disabled", String(at)); });
  }

  /* Show everything as it stands, in place. */
  function show() {
    if (state.option === null || !made.positions) { return; }
    const set = state.set[state.option], words = Store.words;
    if (made.depth) {
      const found = Depth.place(data.options[state.option], made.positions, set), last = made.positions.all.length - 1;
      const told = words[found.exact ? Depth.word(made.positions, found.at) : "depth_own"];
      put(made.depth, found.at, told);
      made.says.textContent = told;
      ended(panel.querySelector(".depth"), found.at === 0, found.at === last);
      document.getElementById("proposed").classList.toggle("unseen", found.exact && found.at === made.positions.middle);
    }
    set.coats.forEach(function (n, i) { if (made.coats[i]) { made.coats[i].show(n); } });
    set.strength.forEach(function (n, m) { if (made.strength[m]) { made.strength[m].show(n); } });
    check("light", data.lights.indexOf(state.light));
    check("film", ["low", "likely", "high"].indexOf(state.film));
    check("compare", made.compare.findIndex(function (one) { return one[0] === state.compare; }));
    made.bare.checked = state.bare;
    Words.put(made.approximate, words.approximate, { light: Words.light(state.light) });
  }

  function check(name, at) {
    const found = panel.querySelector('input[name="' + name + '"][value="' + at + '"]');
    if (found) { found.checked = true; }
  }

  return { begin: begin, make: make, speak: speak, strengthWords: strengthWords };
})();
