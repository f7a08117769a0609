/* The picture of the option that is looked at, and small ones of all: drawn by one solid, one graphics context. */
const Stage = (function () {
  "use strict";
  const data = Store.data, state = Store.state, canvas = document.getElementById("canvas");
  let solid = null, shown = null, wanted = false;

  function begin() {
    Unpack.begin(data.files);
    solid = new Live.Solid(canvas, {});
    new ResizeObserver(draw).observe(canvas);
    Store.on("set light bare film", draw);
    Store.on("option", show);
  }

  /* Load the option that is looked at. */
  async function show() {
    if (state.option === null) { return; }
    await load(state.option);
    draw();
  }

  async function load(index) {
    if (shown === index) { return; }
    await solid.load(data.options[index].live, Unpack.bytes);
    shown = index;
    document.getElementById("wait").hidden = true;
  }

  function stateOf(index) {
    const own = state.set[index];
    return { factors: Store.factors(index, own, state.bare), coats: own.coats, light: state.light };
  }

  function draw() {
    if (wanted) { return; }
    wanted = true;
    requestAnimationFrame(function () {
      wanted = false;
      if (state.option === null || shown !== state.option) { return; }
      const box = canvas.getBoundingClientRect(), ratio = window.devicePixelRatio || 1;
      const width = Math.max(1, Math.round(box.width * ratio)), height = Math.max(1, Math.round(box.height * ratio));
      if (canvas.width !== width || canvas.height !== height) { Object.assign(canvas, { width: width, height: height }); }
      solid.set(stateOf(state.option));
      solid.draw();
    });
  }

  return { begin: begin, show: show, load: load, stateOf: stateOf, get solid() { return solid; } };
})();
