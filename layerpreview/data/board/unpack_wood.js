/* Wood made again: surface/wood.py, on a skin's grid as surface/sample.py does. When they change, this changes in the same commit. */
const UnpackWood = (function () {
  "use strict";

  /* Which places of a line make each of `count` others, and their shares: make_taps of surface/sample.py. */
  function taps(places, count, scale) {
    const cubic = scale < 1, reach = cubic ? 2 : Math.max(1, scale), wide = scale === 1 ? 1 : Math.ceil(2 * reach);
    const index = new Int32Array(count * wide), weight = new Float32Array(count * wide), own = new Float64Array(wide);
    for (let i = 0; i < count; i += 1) {
      const centre = (i + 0.5) * scale - 0.5, first = scale === 1 ? i : Math.floor(centre - reach) + 1;
      let one = 0, two = 0, total = 0;
      for (let k = 0; k < wide; k += 1) {
        const away = first + k - centre, far = Math.abs(away);
        own[k] = !cubic ? Math.max(0, 1 - far / reach)
          : far < 1 ? (1.5 * far - 2.5) * far * far + 1 : far < 2 ? ((-0.5 * far + 2.5) * far - 4) * far + 2 : 0;
        one += own[k] * away;
        two += own[k] * away * away;
      }
      for (let k = 0; k < wide; k += 1) { total += own[k] *= 1 - (first + k - centre) * one / Math.max(two, 1e-12); }
      for (let k = 0; k < wide; k += 1) {
        index[i * wide + k] = Math.min(Math.max(first + k, 0), places - 1);
        weight[i * wide + k] = own[k] / total;
      }
    }
    return { index: index, weight: weight, wide: wide };
  }

  const EARLY = [0.70, 0.53, 0.35], LATE = [0.53, 0.355, 0.20], SHADE = [0.35, 0.5, 0.65], RING_MM = 4.2, BAND_MM = 8;

  /* A function that writes a row of wood to four lines, its red, green and blue and how open it is: make_grain of surface/wood.py. */
  function wood(lattice, figure, seed) {
    const flame = figure === "flame", cols = lattice.cols;
    const noises = [[45, 160, 1], [14, 70, 2], [3, 30, 3], [0.35, 9, 4], [0.3, 3.2, 5], [90, 200, 6]]
      .concat(flame ? [[34, 90, 7], [13, 22, 8], [26, 12, 9], [16, 5, 10]] : [])
      .map(function (n) { return new UnpackFields.Noise(lattice, n[0], n[1], seed, n[2]); });
    const heights = noises.map(function () { return new Float32Array(cols); });
    return function (row, lines) {
      noises.forEach(function (noise, k) { heights[k].fill(0); noise.along(row, 0, 0, heights[k], 1); });
      const y = (row + 0.5) * lattice.step, [sway, drift, flicker, fibre, pore, shade, lean, waver, swell, curl] = heights;
      for (let i = 0; i < cols; i += 1) {
        const fine = fibre[i], year = ((i + 0.5) * lattice.step + 22 * sway[i] + 5 * drift[i] + 0.7 * flicker[i]) / RING_MM, phase = year - Math.floor(year);
        const ring = phase * phase * phase * Math.min((1 - phase) * 9, 1), hole = Math.min(Math.max(pore[i] * 4 - 1.6 - ring, 0), 1);
        const dark = Math.min(Math.max(0.12 + 1.2 * ring + 0.3 * fine + 0.3 * shade[i], 0), 1);
        let light = 1 + 0.12 * fine, soak = 1.05 - 0.5 * ring + 0.3 * fine + 1.6 * hole;
        if (flame) {
          const wave = y / BAND_MM + 2.6 * lean[i] + 0.8 * waver[i], dip = Math.sin(2 * Math.PI * wave) * (0.75 + 1.2 * swell[i]) + 1.3 * curl[i];
          light *= 1 - 0.15 * dip;
          soak += 0.35 * dip;
        }
        for (let k = 0; k < 3; k += 1) {
          lines[k][i] = Math.min(Math.max((EARLY[k] + (LATE[k] - EARLY[k]) * dark) * (light - SHADE[k] * hole), 0), 1);
        }
        lines[3][i] = Math.max(soak, 0);
      }
    };
  }

  /* Wood on a skin's grid: red, green, blue and how open it is, each a plane. */
  async function grain(plan, breathe) {
    const rows = plan.size[0], cols = plan.size[1], step = plan.step_mm, lattice = { rows: plan.lattice[0], cols: plan.lattice[1], step: step };
    const down = taps(lattice.rows, rows, plan.pixel_mm / step), across = taps(lattice.cols, cols, plan.pixel_mm / step);
    const row = wood(lattice, plan.figure, plan.seed), lines = [0, 1, 2, 3].map(function () { return new Float32Array(lattice.cols); });
    const out = lines.map(function () { return new Float32Array(rows * cols); }), made = new Map();
    const line = function (y) {
      if (!made.has(y)) {
        row(y, lines);
        made.set(y, lines.map(function (from) {
          const to = new Float32Array(cols);
          for (let x = 0, t = 0; x < cols; x += 1) {
            let sum = 0;
            for (let k = 0; k < across.wide; k += 1, t += 1) { sum += from[across.index[t]] * across.weight[t]; }
            to[x] = sum;
          }
          return to;
        }));
      }
      return made.get(y);
    };
    for (let y = 0; y < rows; y += 1) {
      for (let k = 0; k < down.wide; k += 1) {
        const from = line(down.index[y * down.wide + k]), share = down.weight[y * down.wide + k];
        for (let c = 0; c < 4; c += 1) {
          for (let x = 0, to = y * cols; x < cols; x += 1) { out[c][to + x] += share * from[c][x]; }
        }
      }
      Array.from(made.keys()).forEach(function (key) { if (key < down.index[y * down.wide]) { made.delete(key); } });
      if (!(y & 1)) { await breathe(); }
    }
    return out;
  }

  return { grain: grain };
})();
