/*
 * Two states side by side with a divider between them: the option's own base, what was proposed, or another option, for which
 * a second solid draws on a canvas over the first while it is asked for.
 */
const Halves = (function () {
  "use strict";
  const data = Store.data, state = Store.state, STEP = 0.02, FAR = 0.1;
  const byId = function (id) { return document.getElementById(id); };
  const stage = byId("stage"), divider = byId("divider");
  let other = null, held = false;

  function begin() {
    Store.on("compare option divider bare lang", show);
    divider.addEventListener("pointerdown", function (event) {
      divider.setPointerCapture(event.pointerId);
      held = true;
    });
    divider.addEventListener("pointermove", function (event) { if (held) { to((event.clientX - stage.getBoundingClientRect().left) / stage.clientWidth); } });
    ["pointerup", "pointercancel"].forEach(function (name) { divider.addEventListener(name, function () { held = false; }); });
    divider.addEventListener("keydown", keyed);
    Stage.onDrawn(follow);
    show();
  }

  function to(share) { Store.set({ divider: Math.min(1, Math.max(0, share)) }); }

  function keyed(event) {
    const at = state.divider;
    const deeds = { ArrowLeft: at - STEP, ArrowDown: at - STEP, ArrowRight: at + STEP, ArrowUp: at + STEP, PageDown: at - FAR, PageUp: at + FAR, Home: 0, End: 1 };
    if (!(event.key in deeds) || event.ctrlKey || event.altKey || event.metaKey) { return; }
    event.preventDefault();
    to(deeds[event.key]);
  }

  function isOther() { return typeof state.compare === "number" && state.compare !== state.option && state.compare < data.options.length; }
  function isOn() { return state.option !== null && (state.compare === "bare" || state.compare === "proposed" || isOther()); }

  /* What `Solid.set` takes as `compare`: the right half. */
  function half(index) {
    if (state.compare !== "bare" && state.compare !== "proposed") { return null; }
    return Object.assign(Stage.stateOf(index, state.compare), { divider: state.divider });
  }

  function sides() {
    const words = Store.words, named = function (index) { return Store.fill(words.option, { letter: data.options[index].letter }); };
    const own = state.compare === "proposed" ? words.as_set : isOther() ? named(state.option) : state.bare ? words.bare : words.finished;
    return [own, isOther() ? named(state.compare) : state.compare === "bare" ? words.bare : words.as_proposed];
  }

  function show() {
    const on = isOn(), share = Math.round(100 * state.divider);
    [divider, byId("chip-left"), byId("chip-right")].forEach(function (one) { one.hidden = !on; });
    if (other && (!on || !isOther() || other.index !== state.compare)) { letGo(); }
    if (!on) { return; }
    const told = sides();
    byId("chip-left").textContent = told[0];
    byId("chip-right").textContent = told[1];
    divider.style.left = share + "%";
    divider.setAttribute("aria-valuenow", share);
    divider.setAttribute("aria-valuetext", Store.fill(Store.words.divider_value, { n: share, left: told[0], right: told[1] }));
    if (isOther() && !other) { take(state.compare); }
    clip();
  }

  function clip() {
    if (other) { other.canvas.style.clipPath = "inset(0 0 0 " + 100 * state.divider + "%)"; }
  }

  /* A second solid for the other option. */
  function take(index) {
    const canvas = document.createElement("canvas"), own = other = { index: index, canvas: canvas, solid: null, ready: false };
    canvas.setAttribute("aria-hidden", "true");
    canvas.hidden = true;
    Stage.canvas.after(canvas);
    try {
      own.solid = new Live.Solid(canvas, { onLost: function () { own.ready = false; own.canvas.hidden = true; }, onBack: function () { load(own); } });
    } catch (error) { letGo(); return; }
    load(own);
  }

  function load(own) {
    Stage.inRow(async function () {
      if (other !== own) { return; }
      await own.solid.load(data.options[own.index].live, Unpack.from(data.options[own.index].live));
      if (other !== own || !own.solid.data) { return; }
      asFirst(own);
      await own.solid.takeTimeApart();
      if (other !== own) { return; }
      own.ready = true;
      own.canvas.hidden = false;
      follow();
    });
  }

  /* The other option in the pose and size of the first. */
  function asFirst(own) {
    const first = Stage.canvas;
    if (own.canvas.width !== first.width || own.canvas.height !== first.height) { Object.assign(own.canvas, { width: first.width, height: first.height }); }
    own.solid.set(Object.assign(Stage.stateOf(own.index), Stage.pose));
  }

  /* Up to where across the page the option that is looked at is seen, in the box of the picture. */
  function until(box) { return other && other.ready ? box.left + state.divider * box.width : Infinity; }

  function follow(stands) {
    if (!other || !other.ready || stands) { return; }
    asFirst(other);
    other.solid.draw();
    clip();
  }

  function letGo() {
    const gone = other;
    other = null;
    gone.canvas.remove();
    const end = gone.solid && gone.solid.gl.getExtension("WEBGL_lose_context");
    if (end) { gone.solid.calls = {}; end.loseContext(); }
  }

  return { begin: begin, half: half, until: until, get other() { return other; } };
})();
