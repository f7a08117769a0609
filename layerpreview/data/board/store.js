/* What the page holds and how it stands: data, words, what was set for each option; who listens hears what changed. */
const Store = (function () {
  "use strict";
  const data = JSON.parse(document.getElementById("data").textContent);
  const languages = data.languages, key = "board " + data.board;
  const KEPT = ["set", "light", "option", "bare", "lang"];
  const listeners = {};

  /* `option`: the one looked at, null while all are shown; `set`: of each option coats and strengths [%]. */
  const state = Object.assign(fresh(), { lang: language(), divider: 0.5 });
  Object.assign(state, remembered());

  function fresh() {
    return {
      option: data.options.length > 1 ? null : 0, set: data.options.map(Depth.proposed), light: data.lights[0], bare: false,
      film: "likely", compare: null,
    };
  }

  /* The language of the page's words that the browser asks for first. */
  function language() {
    const plain = function (tag) { return String(tag).toLowerCase().split("-")[0]; };
    const wanted = (navigator.languages || [navigator.language]).map(function (tag) {
      return languages.find(function (own) { return own.toLowerCase() === String(tag).toLowerCase(); }) ||
        languages.find(function (own) { return plain(own) === plain(tag); });
    });
    return wanted.find(Boolean) || languages[0];
  }

  /* What was set the last time, as far as it is still allowed here. */
  function remembered() {
    let kept = null;
    try { kept = JSON.parse(localStorage.getItem(key)); } catch (error) { /* nothing is kept, or it cannot be read */ }
    if (!kept || typeof kept !== "object") { return {}; }
    const found = {}, known = {
      light: data.lights.includes(kept.light), bare: typeof kept.bare === "boolean", lang: languages.includes(kept.lang),
      option: kept.option === null ? data.options.length > 1 : Number.isInteger(kept.option) && kept.option in data.options,
    };
    Object.keys(known).forEach(function (name) { if (known[name]) { found[name] = kept[name]; } });
    if (Array.isArray(kept.set)) {
      found.set = data.options.map(function (option, i) { return allowed(option, kept.set[i]) ? kept.set[i] : Depth.proposed(option); });
    }
    return found;
  }

  function allowed(option, set) {
    const within = function (numbers, limits, low, high) {
      return Array.isArray(numbers) && numbers.length === limits.length && numbers.every(function (n, i) {
        return Number.isInteger(n) && n >= limits[i][low] && n <= limits[i][high];
      });
    };
    return Boolean(set) && within(set.coats, option.coats, "fewest", "most") && within(set.strength, option.mixes, "weakest", "strongest");
  }

  /* Call `heard(changes)` when one of the names changes. */
  function on(names, heard) {
    names.split(" ").forEach(function (name) { (listeners[name] = listeners[name] || []).push(heard); });
  }

  function set(changes) {
    const heard = new Set();
    Object.keys(changes).forEach(function (name) {
      state[name] = changes[name];
      (listeners[name] || []).forEach(function (one) { heard.add(one); });
    });
    keep();
    heard.forEach(function (one) { one(changes); });
  }

  /* Coats and strengths of one option. */
  function choose(index, coats, strength) {
    set({ set: state.set.map(function (own, i) { return i === index ? { coats: coats.slice(), strength: strength.slice() } : own; }) });
  }

  /* Everything as it was proposed. */
  function again() { set(fresh()); }

  function keep() {
    try {
      localStorage.setItem(key, JSON.stringify(Object.fromEntries(KEPT.map(function (name) { return [name, state[name]]; }))));
    } catch (error) { /* a page opened from a mail may keep nothing */ }
  }

  /* By how much the build of each layer of an option is multiplied. */
  function factors(index, own, bare) {
    const option = data.options[index];
    return option.coats.map(function (coat, i) {
      if (bare) { return 0; }
      const mix = option.mixes.findIndex(function (m) { return m.name === coat.mix; });
      const film = state.film === "low" ? coat.film[0] : state.film === "high" ? coat.film[1] : 1;
      return (own.coats[i] / coat.coats) * (mix < 0 ? 1 : (own.strength[mix] / 100) * film);
    });
  }

  function fill(text, values) {
    return text.replace(/\{(\w+)\}/g, function (all, name) { return name in values ? String(values[name]) : all; });
  }

  return {
    data: data, state: state, on: on, set: set, choose: choose, again: again, factors: factors, fill: fill,
    languages: languages, get words() { return data.words[state.lang]; },
  };
})();
