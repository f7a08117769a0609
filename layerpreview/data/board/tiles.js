/* All options side by side, each drawn by the one solid and copied: a touch looks closer. */
const Tiles = (function () {
  "use strict";
  const data = Store.data, state = Store.state;
  /* In pixels of the page: what a tile is at least, the gap that stage.css has, the page's head, the words under a tile. */
  const LEAST_WIDE = 150, LEAST_TALL = 150, GAP = 14, HEAD = 140, UNDER = 60;
  /* Drawn again so long after the last change, and at most so many places of the screen for one of the page. */
  const LATER_MS = 200, MOST_RATIO = 2;
  const all = document.getElementById("all"), list = document.getElementById("tiles");
  let tiles = [], later = null, round = {}, last = null, placed = 0;

  function begin() {
    if (data.options.length < 2) { return; }
    tiles = data.options.map(make);
    list.append.apply(list, tiles.map(function (tile) { return tile.item; }));
    new ResizeObserver(function () {
      /* Names take more lines in narrow columns: placed anew for another height it would go to and fro for ever. */
      if (all.clientWidth !== placed) { placed = all.clientWidth; place(); }
      soon();
    }).observe(all);
    window.addEventListener("resize", place);
    const seen = new IntersectionObserver(function (entries) {
      entries.forEach(function (entry) { tiles.find(function (tile) { return tile.item === entry.target; }).seen = entry.isIntersecting; });
      soon();
    }, { rootMargin: "100px" });
    tiles.forEach(function (tile) { seen.observe(tile.item); });
    Store.on("set light bare film", soon);
    Store.on("option", turned);
    document.getElementById("back").addEventListener("click", leave);
    window.addEventListener("popstate", function () { if (state.option !== null) { Store.set({ option: null }); } });
    place();
    tiles.forEach(atFirst);
    if (state.option !== null) { requestAnimationFrame(toTop); }
  }

  /* Tiles have the colours of the solid's own canvas. */
  function penOf(canvas) { return canvas.getContext("2d", Stage.solid.wide ? { colorSpace: "display-p3" } : {}); }

  /* Before a tile is drawn it shows the picture that the page has of the option as proposed. */
  function atFirst(tile, index) {
    if (JSON.stringify(state.set[index]) !== JSON.stringify(Depth.proposed(data.options[index])) || state.bare) { return; }
    const image = Stage.pictureOf(index);
    image.decode().then(function () {
      if (tile.drawn) { return; }
      Object.assign(tile.canvas, { width: image.naturalWidth, height: image.naturalHeight });
      penOf(tile.canvas).drawImage(image, 0, 0);
    }).catch(function () { /* the tile is drawn soon */ });
  }

  /* A copy of what a tile shows, null where it was not drawn. */
  function copyOf(index) {
    const from = tiles.length && tiles[index].drawn && tiles[index].canvas, copy = from && document.createElement("canvas");
    if (!from) { return null; }
    Object.assign(copy, { width: from.width, height: from.height });
    penOf(copy).drawImage(from, 0, 0);
    return copy;
  }

  function el(tag, name, text) {
    const made = document.createElement(tag);
    made.className = name;
    if (text) { made.textContent = text; }
    return made;
  }

  function make(option, index) {
    const item = el("li", "tile"), button = el("button", "tile-button"), canvas = el("canvas", "tile-picture"), under = el("span", "tile-words");
    const closer = el("span", "tile-closer", Store.words.look_closer);
    button.type = "button";
    canvas.setAttribute("aria-hidden", "true");
    closer.dataset.t = "look_closer";
    under.append(el("span", "letter", option.letter), el("bdi", "tile-name", option.name), closer);
    button.append(canvas, under);
    button.addEventListener("click", function () { look(index); });
    item.append(button);
    return { item: item, button: button, canvas: canvas, seen: true, drawn: null };
  }

  /* As many in a row as make the pictures largest in what the window shows. */
  function place() {
    const n = tiles.length, wide = all.clientWidth, tall = window.innerHeight - Math.min(HEAD, 0.25 * window.innerHeight);
    const under = tiles[0].button.lastChild.offsetHeight || UNDER;
    let best = null;
    for (let columns = 1; columns <= n; columns += 1) {
      const rows = Math.ceil(n / columns), w = (wide - (columns - 1) * GAP) / columns;
      const h = Math.max(LEAST_TALL, (tall - (rows - 1) * GAP) / rows - under), size = Math.min(w, h * shape());
      if (columns > 1 && w < LEAST_WIDE) { break; }
      if (!best || size > best.size * 1.02) { best = { size: size, columns: columns, h: Math.min(h, 1.25 * w) }; }
    }
    if (!wide) { return; }
    list.style.setProperty("--columns", best.columns);
    list.style.setProperty("--tall", Math.floor(best.h) + "px");
  }

  /* Width over height of the widest part: all tiles have one shape. */
  function shape() {
    return Math.max.apply(null, data.options.map(function (option) { return option.live.width_px / option.live.height_px; }));
  }

  /* What a tile shows: where it is the same nothing is drawn again. */
  function key(index) {
    const tile = tiles[index], box = tile.canvas.getBoundingClientRect(), ratio = Math.min(MOST_RATIO, window.devicePixelRatio || 1);
    const width = Math.round(box.width * ratio), height = Math.round(box.height * ratio);
    return { width: width, height: height, text: JSON.stringify([Stage.stateOf(index), width, height]) };
  }

  /* Draw again what shows something else than it should, once nothing has changed for a moment. */
  function soon() {
    clearTimeout(later);
    if (state.option !== null || !tiles.length) { return; }
    later = setTimeout(drawAll, tiles.some(function (tile) { return tile.drawn; }) ? LATER_MS : 0);
  }

  /* Draw those that are seen and show something else than they should, one after another. */
  function drawAll() {
    const own = round = {};
    delete list.dataset.settled;
    return Stage.inRow(async function () {
      for (let i = 0; i < tiles.length && round === own && state.option === null; i += 1) {
        const told = key(i);
        if (tiles[i].seen && told.width && tiles[i].drawn !== told.text) { await drawn(i, told); }
      }
      if (round === own && state.option === null) { list.dataset.settled = ""; }
    });
  }

  async function drawn(index, told) {
    const solid = Stage.solid, tile = tiles[index], canvas = tile.canvas, own = round;
    Object.assign(Stage.canvas, { width: told.width, height: told.height });
    await Stage.load(index);
    if (!solid.data || round !== own) { return; }
    solid.set(Object.assign({ yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0, compare: null }, Stage.stateOf(index)));
    if (!await solid.refine()) { return; }
    if (canvas.width !== told.width || canvas.height !== told.height) { Object.assign(canvas, { width: told.width, height: told.height }); }
    penOf(canvas).drawImage(Stage.canvas, 0, 0);
    tile.drawn = told.text;
    tile.item.dataset.drawn = "";
  }

  function look(index) {
    last = index;
    try { history.pushState({ option: index }, ""); } catch (error) { /* a page in a frame may have no history */ }
    Store.set({ option: index });
    document.getElementById("stage").focus({ preventScroll: true });
  }

  /* The picture at the top of the window, so that the one question has room below it. (`scrollIntoView` keeps clear of what
     stays at the top, which is the picture itself, and so moves nothing.) */
  function toTop() { window.scrollTo(0, document.getElementById("look").getBoundingClientRect().top + window.scrollY); }

  function leave() {
    if (history.state && history.state.option !== undefined) { history.back(); } else { Store.set({ option: null }); }
  }

  /* An option is looked at, or all again. */
  function turned() {
    round = {};
    delete list.dataset.settled;
    if (state.option !== null) {
      last = state.option;
      requestAnimationFrame(toTop);   // the controls are made first
      return;
    }
    tiles.forEach(function (tile, i) { if (i === last) { tile.button.setAttribute("aria-current", "true"); } else { tile.button.removeAttribute("aria-current"); } });
    place();
    soon();
    if (last !== null) { tiles[last].button.focus(); }
  }

  return { begin: begin, soon: soon, copyOf: copyOf };
})();
