/* Slopes of a made relief, made again: surface/relief_kinds.py. When that changes, this changes in the same commit. */
const UnpackRelief = (function () {
  "use strict";
  const TURN_COS = Math.fround(Math.cos(0.5)), TURN_SIN = Math.fround(Math.sin(0.5));
  const { hashed, unit, Noise, MARGIN } = UnpackFields;

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

  return { slopes: slopes };
})();
