/* What the page holds and how it stands: data, words, what was set for each option; who listens hears what changed. */
const Store = (function () {
  "use strict";
  const data = JSON.parse(document.getElementById("data").textContent);
  const listeners = {}, KEPT = ["set", "light", "option", "bare"], key = "board " + data.board;
  let words = data.words[Object.keys(data.words)[0]];

  /* `option`: the one looked at, null while all are shown; `set`: of each option coats and strengths [%]. */
  const state = {
    option: data.options.length > 1 ? null : 0, set: data.options.map(proposed), light: data.lights[0], bare: false,
    film: "likely", compare: null, divider: 0.5,
  };

  function proposed(option) {
    return {
      coats: option.coats.map(function (coat) { return coat.coats; }),
      strength: option.mixes.map(function () { return 100; }),
    };
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

  return { data: data, state: state, on: on, set: set, choose: choose, proposed: proposed, factors: factors, fill: fill, get words() { return words; } };
})();
