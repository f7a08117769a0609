/* The page's words in the language that is looked at: what stands in the page, and sentences with names in them. */
const Words = (function () {
  "use strict";
  const root = document.documentElement;

  function begin() {
    const select = document.getElementById("language");
    Store.languages.forEach(function (lang) {
      const choice = document.createElement("option");
      choice.value = choice.lang = lang;
      choice.textContent = nameOf(lang);
      select.append(choice);
    });
    select.closest(".language").hidden = Store.languages.length < 2;
    select.addEventListener("change", function () { Store.set({ lang: select.value }); });
    Store.on("lang", show);
    show();
  }

  /* A language's name in itself. */
  function nameOf(lang) {
    try {
      return new Intl.DisplayNames([lang], { type: "language" }).of(lang);
    } catch (error) {
      return lang;
    }
  }

  /* The language of the words as it is used where the browser is at home: dates and numbers go by it. */
  function locale() {
    return (navigator.languages || []).find(function (tag) { return tag.split("-")[0] === Store.state.lang.split("-")[0]; }) || Store.state.lang;
  }

  function show() {
    const lang = Store.state.lang;
    root.lang = lang;
    root.dir = Store.data.directions[lang];
    document.getElementById("language").value = lang;
    document.querySelectorAll("[data-t]").forEach(function (element) { put(element, Store.words[element.dataset.t], element.dataset); });
    document.querySelectorAll(".coats").forEach(function (list, k) {
      Store.data.options[k].coats.forEach(function (one, i) {
        put(list.children[i], Store.words.agree.coats, { what: coat(one), n: coats(Depth.proposed(Store.data.options[k]).coats[i]) });
      });
    });
    document.querySelectorAll("[data-t-role]").forEach(function (element) { element.setAttribute("aria-roledescription", Store.words[element.dataset.tRole]); });
    document.querySelectorAll("[data-t-label]").forEach(function (element) {
      element.setAttribute("aria-label", Store.fill(Store.words[element.dataset.tLabel], element.dataset));
    });
  }

  /* Put a sentence into an element; what fills its braces stays together whichever way it is written. */
  function put(element, text, values) {
    element.replaceChildren.apply(element, text.split(/(\{\w+\})/).map(function (part) {
      const name = part.slice(1, -1);
      if (part[0] !== "{" || !(name in (values || {}))) { return part; }
      const held = document.createElement("bdi");
      held.textContent = values[name];
      return held;
    }));
    return element;
  }

  function coats(n) {
    return n === 0 ? Store.words.no_coats : n === 1 ? Store.words.one_coat : Store.fill(Store.words.coats, { n: n });
  }

  /* A light by a plain word; one without keeps its name. */
  function light(name) { return Store.words["light_" + name] || name; }

  /* The same with its name, for the painter. */
  function lightNamed(name) { return light(name) === name ? name : light(name) + " (" + name + ")"; }

  /* A coat in a client's words: what it is and where it goes. */
  function coat(one) { return label(one) + ", " + one.where[Store.state.lang]; }

  /* What a coat is called. */
  function label(one) { return one.label[Store.state.lang]; }

  return { begin: begin, put: put, coats: coats, light: light, lightNamed: lightNamed, coat: coat, label: label, locale: locale };
})();
