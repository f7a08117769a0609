/* Numbers that come from a seed, made again: surface/hashed_fields.py. When that changes, this changes in the same commit. */
const UnpackFields = (function () {
  "use strict";
  /* How far the cells of a Mosaic lie askew, and how many knots lie beyond a picture's edge: as in Python. */
  const ASKEW = 0.55, MARGIN = 6;

  /* 32 random bits of a cell of integers. */
  function hashed(ix, iy, seed, salt) {
    let h = Math.imul(ix, 0xC2B2AE3D) + Math.imul(seed, 0x9E3779B1) + Math.imul(salt, 0x85EBCA77) + Math.imul(iy, 0x27D4EB2F) | 0;
    h = Math.imul(h ^ h >>> 15, 0x2C1B3C6D);
    h = Math.imul(h ^ h >>> 12, 0x297A2D39);
    return (h ^ h >>> 15) >>> 0;
  }

  function unit(bits) { return (bits >>> 8) / 16777216; }

  /* Numbers of the flakes and of the glitter at each place, in 65536ths: Mosaic. */
  async function strewn(plan, breathe) {
    const rows = plan.size[0], cols = plan.size[1], out = new Uint16Array(2 * rows * cols);
    for (let k = 0; k < 2; k += 1) {
      const part = plan.parts[k];
      if (!part) { continue; }
      const cos = Math.cos(ASKEW), sin = Math.sin(ASKEW), along = new Float32Array(cols), across = new Float32Array(cols), fround = Math.fround;
      for (let x = 0; x < cols; x += 1) {
        const at = (x + 0.5) * plan.step_mm / part.cell_mm;
        along[x] = cos * at;
        across[x] = -sin * at;
      }
      for (let y = 0; y < rows; y += 1) {
        const at = (y + 0.5) * plan.step_mm / part.cell_mm, one = fround(sin * at), other = fround(cos * at);
        for (let x = 0, i = 2 * y * cols + k; x < cols; x += 1, i += 2) {
          out[i] = hashed(Math.floor(fround(along[x] + one)), Math.floor(fround(across[x] + other)), part.seed, part.salt) >>> 16;
        }
        if (!(y & 15)) { await breathe(); }
      }
    }
    return out.buffer;
  }

  /* Weights of a cubic B-spline at t, or their slopes. */
  function spline(t, order) {
    return order
      ? [-(1 - t) * (1 - t) / 2, (3 * t * t - 4 * t) / 2, (-3 * t * t + 2 * t + 1) / 2, t * t / 2]
      : [(1 - t) * (1 - t) * (1 - t) / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6, t * t * t / 6];
  }

  /* Smooth heights: Noise. The lines of its knots are made as rows come to them, so that no slice of work is long. */
  function Noise(lattice, cellX, cellY, seed, salt) {
    const cols = lattice.cols, step = lattice.step, last = function (count, cell) { return Math.floor((count - 0.5) * step / cell) + 2 * MARGIN; };
    Object.assign(this, { cols: cols, step: step, cellX: cellX, cellY: cellY, seed: seed, salt: salt });
    this.knots = new Float32Array(last(cols, cellX));
    this.first = new Int32Array(cols);
    this.weights = [new Float32Array(4 * cols), new Float32Array(4 * cols)];
    this.lines = [[], []];
    for (let x = 0; x < cols; x += 1) {
      const at = (x + 0.5) * step / cellX, ix = Math.floor(at);
      this.first[x] = ix + MARGIN - 1;
      this.weights[0].set(spline(at - ix, 0), 4 * x);
      this.weights[1].set(spline(at - ix, 1), 4 * x);
    }
  }

  /* The heights, or slopes along x, on one line of knots. */
  Noise.prototype.line = function (y, order) {
    const made = this.lines[order];
    if (made[y]) { return made[y]; }
    const knots = this.knots, first = this.first, w = this.weights[order], to = made[y] = new Float32Array(this.cols);
    for (let x = 0; x < knots.length; x += 1) { knots[x] = 2 * unit(hashed(x - MARGIN, y - MARGIN, this.seed, this.salt)) - 1; }
    for (let x = 0, v = 0; x < this.cols; x += 1, v += 4) {
      const k = first[x];
      to[x] = knots[k] * w[v] + knots[k + 1] * w[v + 1] + knots[k + 2] * w[v + 2] + knots[k + 3] * w[v + 3];
    }
    return to;
  };

  /* One row: heights or slopes, `times` times, added to what is there. */
  Noise.prototype.along = function (row, orderX, orderY, out, times) {
    const at = (row + 0.5) * this.step / this.cellY, iy = Math.floor(at), w = spline(at - iy, orderY), y = iy + MARGIN - 1, lines = this.lines[orderX];
    const a = this.line(y, orderX), b = this.line(y + 1, orderX), c = this.line(y + 2, orderX), d = this.line(y + 3, orderX);
    if (y) { lines[y - 1] = null; }
    for (let x = 0; x < this.cols; x += 1) { out[x] += times * (a[x] * w[0] + b[x] * w[1] + c[x] * w[2] + d[x] * w[3]); }
  };

  Noise.prototype.slopes = function (y, heightMm, outX, outY) {
    this.along(y, 1, 0, outX, heightMm / this.cellX);
    this.along(y, 0, 1, outY, heightMm / this.cellY);
  };

  return { hashed: hashed, unit: unit, Noise: Noise, strewn: strewn, MARGIN: MARGIN };
})();
