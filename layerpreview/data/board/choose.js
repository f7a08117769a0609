/* The dialog in which a choice is looked at once more and passed on: it says exactly what is seen. */
const Choose = (function () {
  "use strict";
  const data = Store.data, state = Store.state, byId = function (id) { return document.getElementById(id); }, make = Controls.make;
  let index = 0, opener = null, now = null, address = "";

  function begin() {
    byId("choose").addEventListener("click", function () { open(state.option, byId("choose")); });
    document.querySelectorAll("[data-choose]").forEach(function (button) {
      button.addEventListener("click", function () { open(Number(button.dataset.choose), button); });
    });
    byId("note").addEventListener("input", write);
    byId("copy-code").addEventListener("click", function () { copy("code", message().code); });
    byId("copy-text").addEventListener("click", function () { copy("text", message().text); });
    byId("send").addEventListener("click", send);
    byId("close").addEventListener("click", function () { byId("dialog").close(); });
    byId("dialog").addEventListener("close", function () { if (opener) { opener.focus(); } });
    Stage.onDrawn(copied);
    Store.on("lang", function () { if (byId("dialog").open) { fillIn(); } });
    Store.on("option", function () { byId("dialog").close(); });   // the browser's own way back leads out of it
  }

  function open(which, button) {
    index = which;
    opener = button;
    now = new Date();
    /* who chooses must have seen it: finished, and with the film that is likely */
    const other = state.bare || state.film !== "likely";
    Store.set({ bare: false, film: "likely", compare: null });
    byId("as-likely").hidden = !other;
    fillIn();
    picture();
    byId("dialog").showModal();
    byId("dialog-in").scrollTop = 0;
  }

  /* What is chosen, in words: how deep, coat by coat, how strong, in which light it was seen. */
  function linesOf(which) {
    const option = data.options[which], set = state.set[which], words = Store.words, found = Depth.positions(option);
    const at = Depth.place(option, found, set), depth = words[at.exact ? Depth.word(found, at.at) : "depth_own"];
    return {
      client: found.all.length > 1 ? [depth.charAt(0).toLocaleUpperCase(state.lang) + depth.slice(1)] : [],
      coats: option.coats.map(function (coat, i) { return [words.agree.coats, { what: Words.coat(coat), n: Words.coats(set.coats[i]) }]; }),
      strength: option.mixes.map(function (mix, m) { return [words.agree.strength, { what: mix.name, n: set.strength[m] }]; }),
      mixed: option.mixes.map(function (mix, m) { return [words.chosen_strength, { what: mix.name, n: Controls.strengthWords(set.strength[m]) }]; })
        .filter(function (_, m) { return set.strength[m] !== 100; }),
    };
  }

  function fillIn() {
    const option = data.options[index], words = Store.words, lines = linesOf(index), code = codeOf();
    Words.put(byId("dialog-title"), data.options.length > 1 ? words.choose_title : words.choose_title_one, { letter: option.letter });
    Words.put(byId("dialog-name"), "{name}", { name: option.name });
    byId("chosen").replaceChildren.apply(byId("chosen"), lines.client.map(function (line) { return make("li", { class: "first", text: line }); }).concat(
      lines.coats.concat(lines.mixed).map(function (line) { return Words.put(make("li"), line[0], line[1]); }),
      [Words.put(make("li"), words.agree.seen, { light: Words.light(state.light) }), Words.put(make("li"), words.chosen_on, { date: dateWords() })],
    ));
    byId("code").textContent = code;
    byId("groups").textContent = Codes.grouped(code);
    goes();
    Words.put(byId("send-words"), data.shop.name ? words.send_to : words.send, data.shop);
    byId("done").textContent = "";
    write();
  }

  /* Whom it goes to, as far as the painter said. */
  function goes() {
    const words = Store.words, shop = data.shop;
    Words.put(byId("goes"), words[shop.goes], shop);
    byId("phone").hidden = !shop.phone;
    Words.put(byId("phone"), words.or_phone, { phone: shop.phone });
  }

  function codeOf() { return Codes.codeOf(data.board, data.options[index].letter, state.set[index].coats, state.set[index].strength); }

  function dateWords() { return new Intl.DateTimeFormat(Words.locale(), { dateStyle: "long" }).format(now); }

  function dateIso() {
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map(function (n) { return String(n).padStart(2, "0"); }).join("-");
  }

  /* The text that travels; the same code and check as output/board_code.py reads. */
  function message() {
    const option = data.options[index], words = Store.words, lines = linesOf(index), code = codeOf();
    const filled = lines.coats.concat(lines.strength).map(function (line) { return Store.fill(line[0], line[1]); });
    const text = Codes.sealed([data.text_begins, data.title, Store.fill(words.agree.option, { letter: option.letter, name: option.name })].concat(
      filled, [
        Store.fill(words.agree.seen, { light: Words.lightNamed(state.light) }),
        Store.fill(words.chosen_on, { date: dateIso() }),
        "Note: " + (Codes.normalised(byId("note").value) || "-"),
        "Code: " + code,
      ]), data.text_ends);
    return { code: code, text: text, subject: Store.fill(words.mail_subject, { letter: option.letter, name: data.title }) };
  }

  function write() {
    const told = message();
    byId("text").textContent = told.text;
    byId("send").href = "mailto:" + encodeURIComponent(data.shop.mail || "").replace("%40", "@") + "?subject=" + encodeURIComponent(told.subject) +
      "&body=" + encodeURIComponent(told.text.replace(/\n/g, "\r\n"));
    if (address) { URL.revokeObjectURL(address); }
    address = URL.createObjectURL(new Blob([told.text], { type: "text/plain;charset=utf-8" }));
    byId("save").href = address;
    byId("save").download = told.code + ".txt";
  }

  /* A mail to the painter's address; where none is known, a phone's own list of programs to pass it on with. */
  function send(event) {
    const told = message();
    if (data.shop.mail || !navigator.share || !window.matchMedia("(pointer: coarse)").matches) {
      byId("done").textContent = Store.words.mail_opened;
      return;
    }
    event.preventDefault();
    navigator.share({ title: told.subject, text: told.text }).then(function () {
      byId("done").textContent = Store.words.shared;
    }, function (error) {
      if (error.name !== "AbortError") { window.location.href = byId("send").href; }
    });
  }

  function copy(id, text) {
    const done = byId("done"), refused = function () {
      byId("text-fold").open = id === "text" || byId("text-fold").open;
      const range = document.createRange();
      range.selectNodeContents(byId(id));
      window.getSelection().removeAllRanges();
      window.getSelection().addRange(range);
      done.textContent = document.execCommand && document.execCommand("copy") ? Store.words.copied : Store.words.copy_failed;
    };
    if (navigator.clipboard && navigator.clipboard.writeText) {
      navigator.clipboard.writeText(text).then(function () { done.textContent = Store.words.copied; }, refused);
    } else {
      refused();
    }
  }

  /* What is chosen as it stands on the stage; where nothing can be drawn, the picture as proposed. */
  function picture() {
    const small = byId("chosen-picture"), still = byId("chosen-still"), option = data.options[index];
    const drawn = !document.documentElement.classList.contains("plain");
    small.hidden = true;
    still.hidden = drawn;
    if (drawn) {
      Stage.turn({ yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0 });
    } else {
      still.src = document.querySelectorAll(".option")[index].querySelector("img").src;
    }
    [small, still].forEach(function (one) { one.setAttribute("aria-label", option.name); });
  }

  /* Copy what the stage draws, as soon as it stands in full: of it the part that holds the picture. */
  function copied(inFull) {
    const small = byId("chosen-picture"), from = Stage.canvas, solid = Stage.solid;
    if (!inFull || !byId("dialog").open || !solid.data) { return; }
    const d = solid.data, scale = Math.min(from.width / d.width_px, from.height / d.height_px);
    const width = Math.round(d.width_px * scale), height = Math.round(d.height_px * scale);
    Object.assign(small, { width: width, height: height, hidden: false });
    small.getContext("2d", solid.wide ? { colorSpace: "display-p3", alpha: false } : { alpha: false }).drawImage(
      from, Math.round((from.width - width) / 2), Math.round((from.height - height) / 2), width, height, 0, 0, width, height);
  }

  return { begin: begin, message: message };
})();
