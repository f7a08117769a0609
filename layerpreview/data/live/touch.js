/* What lies under a finger, and where a place of a face lies on the canvas. */
const LiveTouch = (function () {
  "use strict";
  const WORDS = ["front", "back", "side", "bare"], FRONT = 0, BACK = 1, SIDE = 2, BARE = 3;
  /* A place is seen where its pixel shows the same face, so near to it. */
  const NEAR_MM = 6, NEAR_PX = 5;
  /* Of a Live.Solid. */
  const methods = {};

  /* A pixel's numbers as light.js wrote them: { face, x_mm, y_mm, kind }, or null beside the part. */
  function told(data, two, one) {
    const skin = two[3] & 255, kind = (two[3] >> 12) & 3;
    if (!skin) { return null; }
    const at = [(one[2] & 0xffff) / 65535, (one[2] >>> 16) / 65535];
    if (skin === LiveLight.BARE_SKIN) {
      const solid = data.solids[two[2] & 0xffff], front = data.skins[solid.skins[FRONT]];
      return { face: front.name, x_mm: at[0] * front.size_mm[0], y_mm: at[1] * front.size_mm[1], kind: WORDS[BARE] };
    }
    const face = data.skins[skin - 1];
    return { face: face.name, x_mm: at[0] * face.size_mm[0], y_mm: at[1] * face.size_mm[1], kind: WORDS[kind] };
  }

  /* Which of the values of a lattice of halves lie at a place, straight between its points. */
  function onLattice(bytes, told_, body, x, y) {
    const halves = new Uint16Array(bytes), w = told_.width, h = told_.height;
    const u = Math.min(Math.max((x - body.left_mm) / body.step_mm, 0), w - 1.001), v = Math.min(Math.max((y - body.top_mm) / body.step_mm, 0), h - 1.001);
    const i = Math.floor(u), j = Math.floor(v), a = u - i, b = v - j;
    return function (part) {
      const at = function (col, row) { return LiveGl.ofHalf(halves[4 * (row * w + col) + part]); };
      return (at(i, j) * (1 - a) + at(i + 1, j) * a) * (1 - b) + (at(i, j + 1) * (1 - a) + at(i + 1, j + 1) * a) * b;
    };
  }

  /* A place `along` a closed line of points [mm]. */
  function round(ring, length, along) {
    let left = ((along % length) + length) % length;
    for (let i = 0; i < ring.length; i += 1) {
      const a = ring[i], b = ring[(i + 1) % ring.length], way = Math.hypot(b[0] - a[0], b[1] - a[1]);
      if (left <= way || i === ring.length - 1) {
        const t = Math.min(1, left / Math.max(way, 1e-9));
        return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
      }
      left -= way;
    }
    return ring[0];
  }

  /* Where a place of a face lies in the solid's coordinates [mm]. */
  function inSolid(solid, kind, x, y, bytes) {
    const body = solid.body;
    if (body.kind === "shell") {
      const turn = (x / (Math.PI * body.width_mm) - 0.5) * 2 * Math.PI, radius = 0.5 * body.width_mm;
      return [radius + radius * Math.sin(turn), y, radius * Math.cos(turn) - radius];
    }
    if (kind === SIDE) {
      const length = body.ring.reduce(function (sum, a, i) {
        const b = body.ring[(i + 1) % body.ring.length];
        return sum + Math.hypot(b[0] - a[0], b[1] - a[1]);
      }, 0);
      return round(body.ring, length, x * length / body.ring_mm).concat(-y);
    }
    const left = kind === BACK ? body.width_mm - x : x, near = onLattice(bytes, body.lattices.near, body, left, y);
    const out = Math.min(Math.max(body.edge_mm - Math.max(near(0), 0), 0), body.edge_mm);
    const sunk = body.edge_mm - Math.sqrt(body.edge_mm * body.edge_mm - out * out);
    return [left, y, kind === BACK ? sunk - body.depth_mm - body.bellies_mm[1] * near(1) : body.bellies_mm[0] * near(1) - sunk];
  }

  /* About which way a place that lies `away` from a body's middle looks, in the solid's coordinates; null for a side. */
  function outwards(body, kind, away) {
    if (body.kind === "shell") { return [away[0], 0, away[2]]; }
    return kind === SIDE ? null : [0, 0, kind === BACK ? -1 : 1];
  }

  /* Which solid and kind a face's name stands for. */
  function faceOf(data, name) {
    for (let i = 0; i < data.solids.length; i += 1) {
      const skins = data.solids[i].skins;
      for (const kind of Object.keys(skins)) {
        if (data.skins[skins[kind]].name === name) { return { solid: data.solids[i], kind: Number(kind) }; }
      }
    }
    return null;
  }

  /* The numbers of one pixel of the light, in lattice places from the lower left corner. */
  methods.written = function (col, row) {
    const gl = this.gl, light = this.light;
    if (col < 0 || row < 0 || col >= light.width || row >= light.height) { return null; }
    gl.bindFramebuffer(gl.FRAMEBUFFER, light.frame);
    const parts = [0, 1].map(function (i) {
      const four = new Uint32Array(4);
      gl.readBuffer(gl.COLOR_ATTACHMENT0 + i);
      gl.readPixels(col, row, 1, 1, gl.RGBA_INTEGER, gl.UNSIGNED_INT, four);
      return four;
    });
    return told(this.data, parts[1], parts[0]);
  };

  /* What lies at a place of the canvas' pixels, from its upper left corner. */
  methods.under = function (x, y) {
    if (!this.data || this.gl.isContextLost()) { return null; }
    if (!this.isWritten(this.room)) { this.draw(); }
    const shown = this.shown;
    return this.written(Math.floor(x * shown.width / this.canvas.width), shown.height - 1 - Math.floor(y * shown.height / this.canvas.height));
  };

  /* What lies under a place of the page: { face, x_mm, y_mm, kind }, or null; on a side that no face describes the front's. */
  methods.pick = function (clientX, clientY) {
    const box = this.canvas.getBoundingClientRect();
    return this.under((clientX - box.left) * this.canvas.width / box.width, (clientY - box.top) * this.canvas.height / box.height);
  };

  /* Where a place of a face lies on the page, and whether its face is turned to the eye; null for a face that is not there. */
  methods.placed = function (face, xMm, yMm) {
    const found = this.data && faceOf(this.data, face);
    if (!found) { return null; }
    const body = found.solid.body, view = this.view(), turn = this.turnOf(found.solid), middle = LiveBody.middle(body);
    const at = inSolid(found.solid, found.kind, xMm, yMm, body.lattices && this.bytes[body.lattices.near.hash]);
    const away = at.map(function (v, k) { return v - middle[k]; });
    const px = [0, 1].map(function (k) {
      return (found.solid.middle_mm[k] + turn[k][0] * away[0] + turn[k][1] * away[1] + turn[k][2] * away[2] - view.corner[k]) / view.pixel;
    });
    const box = this.canvas.getBoundingClientRect(), out = outwards(body, found.kind, away), eye = turn[2];
    return {
      x: box.left + px[0] * box.width / this.canvas.width,
      y: box.top + px[1] * box.height / this.canvas.height,
      px: px,
      ahead: !out || out[0] * eye[0] + out[1] * eye[1] + out[2] * eye[2] > 0,
    };
  };

  /* As `placed`, and whether the place is seen: asks the graphics chip, and so waits for it. */
  methods.place = function (face, xMm, yMm) {
    const at = this.placed(face, xMm, yMm);
    if (!at) { return null; }
    const there = this.under(at.px[0], at.px[1]), near = NEAR_MM + NEAR_PX * this.view().pixel;
    return Object.assign(at, { seen: Boolean(there) && there.face === face && Math.hypot(there.x_mm - xMm, there.y_mm - yMm) < near });
  };

  return { methods: methods };
})();
