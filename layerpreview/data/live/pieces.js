/*
 * The sharp picture piece by piece: where one takes long, each piece is short and the page gets its turn between them, so that
 * a finger is never kept waiting. A turn, another size or another part ends it.
 */
const LivePieces = (function () {
  "use strict";
  const PIECE_MS = 25, FIRST_ROWS = 16, MOST_TIMES = 4, ASK_MS = 3;
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

  /* Bands of rows, each as high as the time that the ones before took allows: `rows` is told by `piece`. */
  function* bands(height, piece) {
    for (let from = 0; from < height;) {
      const to = Math.min(height, from + Math.max(1, Math.round(piece.rows)));
      yield [from, to];
      from = to;
    }
  }

  /* All that has to be done for the sharp picture, told to the chip one piece after another. */
  function* work(self, piece) {
    const d = self.data, before = self.room, sharp = self.makeRoom(self.least()), height = sharp.shown.height;
    const outside = function () { if (before && self.rooms[before.name] === before) { self.enter(before); } };
    outside();
    if (self.stale.shadow || self.shadowRough > 1) { self.writeShadow(1); yield; }
    for (const solid of d.solids) {
      for (const i of new Set(Object.values(solid.skins))) {
        const surface = d.skins[i].surface, made = surface && surface.flashes && self.flashesTarget(surface), phase = self.phase();
        if (!made || made.phase === phase) { continue; }
        for (const band of bands(made.height, piece)) {
          self.writeFlashes(surface, made, band[1] < made.height ? NaN : phase, band);
          yield;
        }
      }
    }
    let painted = null;
    for (const band of bands(height, piece)) {
      painted = painted || self.told;
      self.enter(sharp);
      self.writeLight(band);
      self.writeGround(band);
      self.paintBoth(band);
      outside();
      yield;
    }
    while (painted !== self.told) {   // a slider was pulled meanwhile
      painted = self.told;
      for (const band of bands(height, piece)) {
        self.enter(sharp);
        self.paintBoth(band);
        outside();
        yield;
      }
    }
    self.enter(sharp);
    self.stands();
  }

  /* Draw in full, piece by piece, and show it once it stands; resolves to whether it does. */
  methods.refine = async function () {
    if (!this.data || this.gl.isContextLost()) { return false; }
    clearTimeout(this.sharpening);
    const piece = { rows: FIRST_ROWS }, run = this.refining = work(this, piece);
    for (;;) {
      const start = performance.now();
      const done = run.next().done;
      if (done) {
        this.refining = null;
        LiveGl.show(this.gl, this.programs, this.shown);
        if (this.calls.onSharp) { this.calls.onSharp(); }
        return true;
      }
      await this.passed();
      if (this.refining !== run || this.gl.isContextLost()) { return false; }
      piece.rows *= Math.min(MOST_TIMES, Math.max(1 / MOST_TIMES, PIECE_MS / Math.max(1, performance.now() - start)));
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
      this.writeCoarsest();
    }
    await this.passed();
    if (this.data === data) { this.timeTaken(performance.now() - start); }
  };

  return { methods: methods };
})();
