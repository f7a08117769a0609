/* What lies under a finger, and where a place of a face lies on the canvas. */
const LiveTouch = (function () {
  "use strict";
  const WORDS = ["front", "back", "side", "bare"], FRONT = 0, BACK = 1, SIDE = 2, BARE = 3;
  const NEAR_MM = 6, NEAR_PX = 5;

  function halfAt(bits) {
    const sign = bits & 0x8000 ? -1 : 1, power = (bits >> 10) & 31, rest = bits & 1023;
    return sign * (power ? Math.pow(2, power - 15) * (1 + rest / 1024) : Math.pow(2, -14) * rest / 1024);
  }

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
      const at = function (col, row) { return halfAt(halves[4 * (row * w + col) + part]); };
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

  return { told: told, inSolid: inSolid, outwards: outwards, faceOf: faceOf, NEAR_MM: NEAR_MM, NEAR_PX: NEAR_PX };
})();
