/*
 * The sharp picture piece by piece: where one takes long, each piece is short and the page gets its turn between them, so that
 * a finger is never kept waiting. A turn, another size or another part ends it.
 */
const LivePieces = (function () {
  "use strict";
  /* A piece is as many rows as take so long, at first so few, and at most so many times more or fewer than the one before. */
  const PIECE_MS = 22, FIRST_ROWS = 12, MOST_TIMES = 4;
  /* How often the chip is asked whether it is done. */
  const ASK_MS = 3;
  /* Of a Live.Solid. */
  const methods = {};

  /* Resolve when the graphics chip has done all that it was asked for. */
  methods.passed = function () {
    const gl = this.gl, fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    return new Promise(function (resolve) {
      (function ask() {
        if (fence && !gl.isContextLost() && gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) { setTimeout(ask, ASK_MS); return; }
        gl.deleteSync(fence);
        resolve();
      })();
    });
  };

  /* Bands of rows, each as high as what the ones of its kind took before allows. */
  function* bands(self, kind, height) {
    for (let from = 0; from < height;) {
      const to = Math.min(height, from + Math.max(1, Math.round(self.rowsOf[kind] || FIRST_ROWS)));
      yield { kind: kind, rows: [from, to] };
      from = to;
    }
  }

  /* All that has to be done for the sharp picture, one piece after another; each is begun as it is asked for. */
  function* work(self) {
    const d = self.data, was = self.room, sharp = self.makeRoom(self.least()), height = sharp.shown.height, stood = self.isWritten(sharp);
    const before = was && self.rooms[was.name] === was ? was : null;   // another size has taken the room away
    const inside = function (band, deed) {
      self.enter(sharp);
      deed(band.rows);
      if (before) { self.enter(before); }
      return band;
    };
    self.enter(before || sharp);
    if (!stood) {
      const steps = self.shadowSteps(sharp, 1);
      for (let i = 0; i < steps.length; i += 1) {
        for (const band of bands(self, "shadow " + i, steps[i].height)) { yield inside(band, steps[i].deed); }
      }
      for (const solid of d.solids) {
        for (const i of new Set(Object.values(solid.skins))) {
          const surface = d.skins[i].surface, made = surface && surface.flashes && self.flashesTarget(surface), phase = self.phase();
          if (!made || made.phase === phase) { continue; }
          for (const band of bands(self, "flashes", made.height)) {
            yield inside(band, function (rows) { self.writeFlashes(surface, made, rows[1] < made.height ? NaN : phase, rows); });
          }
        }
      }
      for (const band of bands(self, "light", height)) {
        yield inside(band, function (rows) { self.writeLight(rows); self.writeGround(rows); });
      }
      self.enter(sharp);
      self.writtenNow();
      if (before) { self.enter(before); }
    }
    while (sharp.painted !== self.version) {   // again where a slider was pulled meanwhile
      const version = self.version;
      sharp.painted = null;
      for (const band of bands(self, "paint", height)) { yield inside(band, function (rows) { self.paintBoth(rows); }); }
      sharp.painted = version;
    }
    self.enter(sharp);
  }

  /* Draw in full, piece by piece, and show it once it stands; resolves to whether it does. */
  methods.refine = async function () {
    if (!this.data || this.gl.isContextLost()) { return false; }
    clearTimeout(this.sharpening);
    const run = this.refining = work(this);
    let paintMs = 0;
    for (;;) {
      const start = performance.now(), next = run.next();
      if (next.done) {
        this.refining = null;
        this.room.paintMs = paintMs || this.room.paintMs;
        LiveGl.show(this.gl, this.programs, this.shown);
        if (this.calls.onSharp) { this.calls.onSharp(); }
        return true;
      }
      await this.passed();
      if (this.refining !== run || this.gl.isContextLost()) { return false; }
      const took = performance.now() - start, kind = next.value.kind, rows = next.value.rows[1] - next.value.rows[0];
      this.rowsOf[kind] = rows * Math.min(MOST_TIMES, Math.max(1 / MOST_TIMES, PIECE_MS / Math.max(1, took)));
      if (kind === "paint") { paintMs += took; }
    }
  };

  /* Find out how coarsely it has to be drawn to move fluently, without keeping the page waiting. */
  methods.takeTimeApart = async function () {
    const data = this.data;
    let start = 0;
    for (let i = 0; i < 2; i += 1) {
      await this.passed();
      if (this.data !== data || !data || this.gl.isContextLost()) { return; }
      start = performance.now();
      this.drawToTime();
    }
    await this.passed();
    if (this.data === data) { this.timeTaken(performance.now() - start); }
  };

  return { methods: methods };
})();
