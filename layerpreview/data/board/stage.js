/* The picture: one solid draws the option that is looked at and, one after another, the small ones of all (tiles.js). */
const Stage = (function () {
  "use strict";
  const data = Store.data, state = Store.state, STANDING = { yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0 };
  const MOST_PITCH = 80, MOST_ZOOM = 8, MOST_PIXELS = 4e6;
  const byId = function (id) { return document.getElementById(id); };
  const canvas = byId("canvas"), stage = byId("stage");
  /* `loaded`: the option that the solid holds; `pose`: how the one that is looked at is held. */
  let solid = null, loaded = null, wanted = false, row = Promise.resolve(), hand = null, held = null, pose = Object.assign({}, STANDING);
  const listeners = [];

  function begin() {
    Unpack.begin(data.files);
    solid = new Live.Solid(canvas, { onLost: lost, onBack: back, onSharp: sharp });
    hand = new LiveHand.Hand(stage, {
      pose: function () { return pose; }, turn: turn, stands: stands, begun: Swing.stop, least: 1, most: MOST_ZOOM, scrolls: true,
    });
    stage.addEventListener("keydown", function (event) { if (event.target === stage) { hand.keyed(event); } });
    byId("straight").addEventListener("click", straightOn);
    byId("stands").addEventListener("click", stands);
    [["zoom-in", LiveHand.STEP_ZOOM], ["zoom-out", 1 / LiveHand.STEP_ZOOM]].forEach(function (one) {
      byId(one[0]).addEventListener("click", function () { Swing.stop(); hand.zoom(one[1], null); });
    });
    new ResizeObserver(draw).observe(stage);
    Store.on("set light bare film compare divider lang", draw);
    Store.on("option", show);
    Halves.begin();
    Marks.begin();
  }

  /* One after another, since there is one solid. */
  function inRow(work) {
    row = row.then(work).catch(failed);
    return row;
  }

  function failed() {
    if (!solid.gl.isContextLost()) { plain(); }
  }

  /* What cannot be drawn here at all is shown as pictures. */
  function plain() {
    document.documentElement.classList.add("plain");
    byId("live").hidden = true;
    byId("notice").dataset.t = "no_live";
    Words.put(byId("notice"), Store.words.no_live);
  }

  /* All options, or the one that is looked at. */
  function show() {
    const index = state.option, one = index !== null;
    byId("all").hidden = one;
    byId("look").hidden = !one;
    byId("back").hidden = data.options.length < 2;
    Swing.stop();
    pose = Object.assign({}, STANDING);
    delete stage.dataset.settled;
    if (!one) { return Promise.resolve(); }
    name();
    if (loaded !== index) {
      tell("loading");
      hold(index);
    }
    return inRow(async function () {
      if (state.option !== index) { return; }
      await load(index);
      if (state.option !== index || loaded !== index) { return; }
      size();
      solid.set(Object.assign({}, stateOf(index), pose));
      if (!solid.timed) { await solid.takeTimeApart(); }
      if (state.option !== index || loaded !== index) { return; }
      solid.draw();
      tell(null);
      letGo();
      await solid.refine();
      stage.dataset.ready = stage.dataset.ready || Math.round(performance.now());
      draw();
      Swing.begin();
    });
  }

  /* Until it can be drawn its small picture stands there: the tile's, else the one that the page has for all. */
  function hold(index) {
    letGo();
    held = Tiles.copyOf(index) || pictureOf(index).cloneNode();
    held.className = "held";
    held.setAttribute("aria-hidden", "true");
    stage.append(held);
  }

  function letGo() {
    if (held) { held.remove(); }
    held = null;
  }

  /* The picture of an option as proposed that the page has without being live. */
  function pictureOf(index) {
    const all = document.querySelectorAll(".option")[index].querySelectorAll("img");
    return all[Math.max(0, data.lights.indexOf(state.light))];
  }

  async function load(index) {
    if (loaded === index && solid.data) { return; }
    loaded = null;
    await solid.load(data.options[index].live, Unpack.from(data.options[index].live));
    if (solid.data) { loaded = index; }
  }

  /* How an option is drawn: as it is set, or as it was proposed, or its base. */
  function stateOf(index, how) {
    const own = how === "proposed" ? Depth.proposed(data.options[index]) : state.set[index];
    return { factors: Store.factors(index, own, how === "bare" || (!how && state.bare)), coats: own.coats, light: state.light };
  }

  function size() {
    const box = stage.getBoundingClientRect(), pixels = Math.max(1, box.width * box.height);
    const ratio = Math.min(window.devicePixelRatio || 1, Math.sqrt(MOST_PIXELS / pixels));
    const width = Math.max(1, Math.round(box.width * ratio)), height = Math.max(1, Math.round(box.height * ratio));
    if (canvas.width !== width || canvas.height !== height) { Object.assign(canvas, { width: width, height: height }); }
  }

  /* Draw the option that is looked at with the next frame of the page. */
  function draw() {
    if (state.option === null) { return; }
    name();
    if (wanted) { return; }
    wanted = true;
    delete stage.dataset.settled;
    requestAnimationFrame(function () {
      wanted = false;
      if (state.option === null || loaded !== state.option || !solid.data || !solid.timed) { return; }
      size();
      solid.set(Object.assign({}, stateOf(state.option), pose, { compare: Halves.half(state.option) }));
      solid.draw();
      if (solid.room.name === "sharp") { sharp(); }
      listeners.forEach(function (heard) { heard(); });
    });
  }

  /* What is shown now is drawn in full. */
  function sharp() {
    if (state.option === null || loaded !== state.option) { return; }
    stage.dataset.settled = "";
    listeners.forEach(function (heard) { heard(true); });
  }

  /* Look at it another way; what is not said stays. Of what is seen whole nothing is beside the picture. */
  function turn(changes) {
    const next = Object.assign({}, pose, changes), aside = 0.5 * (next.zoom - 1);
    next.pitch = Math.min(MOST_PITCH, Math.max(-MOST_PITCH, next.pitch));
    next.yaw = ((next.yaw + 540) % 360) - 180;
    ["x", "y"].forEach(function (way) { next[way] = Math.min(aside, Math.max(-aside, next[way])); });
    pose = next;
    stage.classList.toggle("close", pose.zoom > 1);
    draw();
  }

  function stands() { Swing.stop(); turn(STANDING); }

  /* Straight on: faces turned flat to the eye, as colour is judged. */
  function straightOn() {
    const stood = data.options[state.option].live.solids[0].pose;
    Swing.stop();
    turn(Object.assign({}, STANDING, { yaw: -stood.yaw_deg, pitch: -stood.pitch_deg }));
  }

  /* The option, its light and its coats are the picture's name. */
  function name() {
    const option = data.options[state.option], words = Store.words;
    const coats = option.coats.map(function (coat, i) {
      const n = state.set[state.option].coats[i];
      return Words.label(coat) + " " + Words.coats(n);
    });
    const told = Store.fill(words.stage_name, {
      letter: option.letter, name: option.name, what: state.bare ? words.bare : words.finished,
      light: Words.light(state.light), coats: coats.join(", "),
    });
    if (stage.getAttribute("aria-label") !== told) { stage.setAttribute("aria-label", told); }
  }

  /* One line over the picture, by its key in the words; null takes it away. */
  function tell(key) {
    const told = byId("told");
    told.hidden = !key;
    if (key) { told.dataset.t = key; told.textContent = Store.words[key]; }
  }

  function lost() {
    loaded = null;
    Swing.stop();
    tell("lost");
  }

  function back() {
    tell("loading");
    Tiles.soon();
    show();
  }

  /* Hear of each frame, and (true) of each that stands in full. */
  function onDrawn(heard) { listeners.push(heard); }

  return {
    begin: begin, show: show, load: load, inRow: inRow, stateOf: stateOf, turn: turn, onDrawn: onDrawn, plain: plain, pictureOf: pictureOf,
    get solid() { return solid; }, get pose() { return pose; }, get loaded() { return loaded; }, get canvas() { return canvas; },
  };
})();
