/*
 * What comes from a seed, made again: slopes of surface/relief_kinds.py, wood of surface/wood.py, numbers of surface/hashed_fields.py.
 * When they change, this changes in the same commit.
 */
const UnpackRelief = (function () {
  "use strict";
  const MARGIN = 6, ASKEW = 0.55, TURN_COS = Math.fround(Math.cos(0.5)), TURN_SIN = Math.fround(Math.sin(0.5));

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

  /* Irregular cells on a grid that lies askew: _AskewCells. */
  function Cells(lattice, cellMm, seed, salt, jitter) {
    const step = lattice.step, aboveMm = lattice.cols * step * TURN_SIN, above = 256 * Math.ceil(aboveMm / (256 * cellMm));
    const cols = Math.ceil(lattice.cols * TURN_COS + lattice.rows * TURN_SIN), rows = Math.ceil(lattice.rows * TURN_COS + (above + 1) * cellMm / step);
    const self = this, nx = Math.trunc(cols * step / cellMm) + 2 * MARGIN + 1, ny = Math.trunc(rows * step / cellMm) + 2 * MARGIN + 1;
    this.cellMm = cellMm;
    this.nx = nx;
    this.ny = ny;
    this.down = above + MARGIN;
    this.table = function (number) {
      const found = new Float32Array(nx * ny);
      for (let y = 0, i = 0; y < ny; y += 1) {
        for (let x = 0; x < nx; x += 1, i += 1) { found[i] = unit(hashed(x - MARGIN, y - MARGIN - above, seed, salt * 64 + number)); }
      }
      return found;
    };
    const inset = (1 - jitter) / 2;
    [0, 1].forEach(function (k) {
      const at = self["xy"[k]] = self.table(k);
      for (let i = 0; i < at.length; i += 1) { at[i] = at[i] * jitter + inset + (k ? Math.floor(i / nx) : i % nx); }
    });
    /* The nearest cells of the place last asked for: index, and where it lies from their centres. */
    this.index = new Int32Array(3);
    this.dx = new Float64Array(3);
    this.dy = new Float64Array(3);
  }

  Cells.prototype.nearest = function (xMm, yMm, count) {
    const x = xMm / this.cellMm + MARGIN, y = yMm / this.cellMm + this.down, nx = this.nx, xs = this.x, ys = this.y, index = this.index;
    const column = Math.min(Math.max(Math.trunc(x), 1), nx - 2), row = Math.min(Math.max(Math.trunc(y), 1), this.ny - 2);
    let a = Infinity, b = Infinity, c = Infinity, ia = 0, ib = 0, ic = 0;
    for (let r = row - 1; r <= row + 1; r += 1) {
      for (let i = r * nx + column - 1, end = i + 3; i < end; i += 1) {
        const dx = xs[i] - x, dy = ys[i] - y, d = dx * dx + dy * dy;
        if (d < a) {
          c = b; ic = ib; b = a; ib = ia; a = d; ia = i;
        } else if (d < b) {
          c = b; ic = ib; b = d; ib = i;
        } else if (d < c) {
          c = d; ic = i;
        }
      }
    }
    index[0] = ia; index[1] = ib; index[2] = ic;
    for (let k = 0; k < count; k += 1) {
      this.dx[k] = x - xs[index[k]];
      this.dy[k] = y - ys[index[k]];
    }
  };

  const FAR = 9;

  /* Each cell's own slopes, running into its neighbours' over `blendMm`: _joined over _borders. `plane(k, at)` leaves them in `at`.
     What weighs less than e to the -FAR is left out. */
  function joined(cells, count, blendMm, plane, out) {
    plane(0, out);
    let sumX = out[0], sumY = out[1], total = 1;
    const dx = cells.dx, dy = cells.dy, fx = dx[0], fy = dy[0], own = fx * fx + fy * fy, times = cells.cellMm / blendMm;
    for (let k = 1; k < count; k += 1) {
      const ox = dx[k], oy = dy[k], x = fx - ox, y = fy - oy, far = (ox * ox + oy * oy - own) / Math.sqrt(x * x + y * y) * times;
      if (far > FAR) { continue; }
      const weight = Math.exp(-far);
      plane(k, out);
      sumX += weight * out[0];
      sumY += weight * out[1];
      total += weight;
    }
    out[0] = sumX / total;
    out[1] = sumY / total;
  }

  function tilts(cells, tilt, crowd) {
    const turn = cells.table(2), size = cells.table(3), x = new Float32Array(turn.length), y = new Float32Array(turn.length);
    for (let i = 0; i < turn.length; i += 1) {
      const long = Math.pow(Math.sqrt(size[i]), 1 + crowd) * tilt;
      x[i] = long * Math.cos(turn[i] * 2 * Math.PI);
      y[i] = long * Math.sin(turn[i] * 2 * Math.PI);
    }
    return { x: x, y: y };
  }

  /* Folded planes of random tilt with raised borders: _Facets. Leaves planes in facets.x, y and ridges in ridgeX, ridgeY. */
  function Facets(cells, tilt, fold, ridgeSlope, ridgeMm, neighbours) {
    const own = tilts(cells, tilt, 0), turn = cells.table(4), around = 2 * Math.PI;
    this.cells = cells;
    this.count = neighbours;
    this.ridgeMm = ridgeMm;
    this.times = 10;
    this.foldTimes = cells.cellMm / (0.35 * cells.cellMm / 10);
    this.steepest = ridgeSlope * 2 / Math.sqrt(2 / Math.E);
    this.tiltX = own.x;
    this.tiltY = own.y;
    this.foldX = turn.map(function (t) { return Math.cos(t * around); });
    this.foldY = turn.map(function (t) { return Math.sin(t * around); });
    this.foldAt = cells.table(5).map(function (v) { return (v - 0.5) * 0.6; });
    this.fold = cells.table(6).map(function (v) { return v * fold; });
    this.crease = cells.table(7);
    this.x = this.y = this.ridgeX = this.ridgeY = 0.5;
  }

  Facets.prototype.at = function (xMm, yMm) {
    const cells = this.cells, dx = cells.dx, dy = cells.dy, index = cells.index, half = cells.cellMm / 2;
    const foldX = this.foldX, foldY = this.foldY, tiltX = this.tiltX, tiltY = this.tiltY;
    cells.nearest(xMm, yMm, this.count);
    const fx = dx[0], fy = dy[0], first = index[0], own = fx * fx + fy * fy;
    let sumX = 0, sumY = 0, total = 0, ridgeX = 0, ridgeY = 0;
    for (let k = 0; k < this.count; k += 1) {
      const i = index[k], ox = dx[k], oy = dy[k];
      let weight = 1;
      if (k) {
        const x = fx - ox, y = fy - oy, apart = Math.sqrt(x * x + y * y), borderMm = (ox * ox + oy * oy - own) / apart * half;
        const far = borderMm * 2 * this.times / cells.cellMm, away = borderMm / this.ridgeMm;
        if (away * away < 2 * FAR) {
          const steep = Math.abs(this.crease[first] - this.crease[i]) * away * Math.exp(-away * away) * this.steepest / apart;
          ridgeX += steep * x;
          ridgeY += steep * y;
        }
        if (far > FAR) { continue; }
        weight = Math.exp(-far);
      }
      let across = (foldX[i] * ox + foldY[i] * oy - this.foldAt[i]) * this.foldTimes;
      across = across / Math.sqrt(across * across + 1) * this.fold[i];
      sumX += weight * (foldX[i] * across + tiltX[i]);
      sumY += weight * (foldY[i] * across + tiltY[i]);
      total += weight;
    }
    this.x = sumX / total;
    this.y = sumY / total;
    this.ridgeX = ridgeX;
    this.ridgeY = ridgeY;
  };

  /* Where each place of a row is looked up, askew: _Warp. */
  function Warp(lattice, cellMm, reachMm, seed) {
    const noise = [1, 2].map(function (salt) { return new Noise(lattice, cellMm, cellMm, seed, salt); });
    const bent = [new Float32Array(lattice.cols), new Float32Array(lattice.cols)];
    this.x = new Float64Array(lattice.cols);
    this.y = new Float64Array(lattice.cols);
    this.row = function (row) {
      bent.forEach(function (line, k) { line.fill(0); noise[k].along(row, 0, 0, line, reachMm); });
      for (let i = 0; i < lattice.cols; i += 1) {
        const x = bent[0][i] + (i + 0.5) * lattice.step, y = bent[1][i] + (row + 0.5) * lattice.step;
        this.x[i] = TURN_COS * x + TURN_SIN * y;
        this.y[i] = TURN_COS * y - TURN_SIN * x;
      }
    };
  }

  /* Slopes of the turned directions back in the picture's, to a row. */
  function back(outX, outY, i, x, y) {
    outX[i] += TURN_COS * x - TURN_SIN * y;
    outY[i] += TURN_COS * y + TURN_SIN * x;
  }

  /* Of each kind a function that adds the slopes of a row to two lines: KINDS of surface/relief_kinds.py. */
  const KINDS = {
    "lifted": function (lattice, cell, seed) {
      const warp = new Warp(lattice, cell * 1.1, cell * 0.7, seed);
      const large = new Facets(new Cells(lattice, cell, seed, 3, 0.8), 0.58, 0.45, 0.8, 0.4, 3);
      const small = new Facets(new Cells(lattice, cell * 4 / 11, seed, 4, 0.8), 0.2, 0.2, 0.35, 0.3, 2);
      const fine = new Noise(lattice, 1.0, 1.0, seed, 5);
      return function (row, outX, outY) {
        warp.row(row);
        for (let i = 0; i < lattice.cols; i += 1) {
          large.at(warp.x[i], warp.y[i]);
          small.at(warp.x[i] + cell * 0.7 * large.x, warp.y[i] + cell * 0.7 * large.y);
          back(outX, outY, i, large.x + large.ridgeX + small.x + small.ridgeX, large.y + large.ridgeY + small.y + small.ridgeY);
        }
        fine.slopes(row, 0.05, outX, outY);
      };
    },
    "fine flake": function (lattice, cell, seed) {
      const peel = new Noise(lattice, cell, cell, seed, 1), lie = new Noise(lattice, 0.4, 0.4, seed, 2);
      return function (row, outX, outY) {
        peel.slopes(row, cell * 0.06, outX, outY);
        lie.slopes(row, 0.045, outX, outY);
      };
    },
    "coarse flake": function (lattice, cell, seed) {
      const bed = new Cells(lattice, cell, seed, 1, 0.8), top = new Cells(lattice, cell * 2, seed, 3, 0.8);
      const bedTilts = tilts(bed, 0.22, 1), topTilts = tilts(top, 0.32, 0), size = top.table(4), peel = new Noise(lattice, 3.0, 3.0, seed, 2), below = new Float64Array(2);
      const lie = function (k, at) { at[0] = bedTilts.x[bed.index[k]]; at[1] = bedTilts.y[bed.index[k]]; };
      return function (row, outX, outY) {
        for (let i = 0; i < lattice.cols; i += 1) {
          const px = (i + 0.5) * lattice.step, py = (row + 0.5) * lattice.step, x = TURN_COS * px + TURN_SIN * py, y = TURN_COS * py - TURN_SIN * px;
          bed.nearest(x, y, 2);
          joined(bed, 2, cell * 0.35, lie, below);
          top.nearest(x, y, 1);
          const k = top.index[0], radius = Math.max(size[k] * 0.55 - 0.18, 0);
          const covered = Math.min(Math.max((radius - Math.hypot(top.dx[0], top.dy[0])) / (0.5 * radius + 1e-6), 0), 1);
          back(outX, outY, i, below[0] + covered * (topTilts.x[k] - below[0]), below[1] + covered * (topTilts.y[k] - below[1]));
        }
        peel.slopes(row, 0.18, outX, outY);
      };
    },
    "brushed": function (lattice, cell, seed) {
      const scratches = [[0.4, 0.26, 0.13], [1.1, 0.45, 0.17], [1.3, 2.3, 0.25]].map(function (size, salt) {
        return [new Noise(lattice, cell * size[0], size[1], seed, salt), size[2]];
      });
      return function (row, outX, outY) { scratches.forEach(function (one) { one[0].slopes(row, one[1], outX, outY); }); };
    },
    "hammered": function (lattice, cell, seed) {
      const cells = new Cells(lattice, cell, seed, 3, 0.9), tilt = tilts(cells, 0.12, 0), depth = cells.table(4), dimple = new Float64Array(2);
      const warp = new Warp(lattice, cell * 0.8, cell * 0.15, seed), fine = new Noise(lattice, 1.3, 1.3, seed, 5);
      const hollow = function (k, at) {
        const i = cells.index[k], steep = depth[i] * 0.6 + 0.75;
        at[0] = steep * cells.dx[k] + tilt.x[i];
        at[1] = steep * cells.dy[k] + tilt.y[i];
      };
      return function (row, outX, outY) {
        warp.row(row);
        for (let i = 0; i < lattice.cols; i += 1) {
          cells.nearest(warp.x[i], warp.y[i], 3);
          joined(cells, 3, cell * 0.13, hollow, dimple);
          back(outX, outY, i, dimple[0], dimple[1]);
        }
        fine.slopes(row, 0.04, outX, outY);
      };
    },
  };

  /* The slopes along x and y of a made relief, as `make_relief`. */
  async function slopes(plan, breathe) {
    const rows = plan.size[0], cols = plan.size[1], found = [new Float32Array(rows * cols), new Float32Array(rows * cols)];
    const added = KINDS[plan.kind]({ rows: rows, cols: cols, step: plan.step_mm }, plan.cell_mm, plan.seed);
    for (let row = 0; row < rows; row += 1) {
      const lines = found.map(function (out) { return out.subarray(row * cols, (row + 1) * cols); });
      added(row, lines[0], lines[1]);
      lines.forEach(function (line) { for (let x = 0; x < cols; x += 1) { line[x] *= plan.strength; } });
      if (!(row & 3)) { await breathe(); }
    }
    return found;
  }

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
      .map(function (n) { return new Noise(lattice, n[0], n[1], seed, n[2]); });
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

  return { slopes: slopes, strewn: strewn, grain: grain };
})();
