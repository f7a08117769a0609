/*
 * The lifelike picture of the part, live: turned, looked at closely, coats and strengths pulled, without asking a server.
 * Light is written down where the pose changes (write.js), the film is painted over it in every frame (paint.js).
 */
const Live = (function () {
  "use strict";
  /* It rests so long after the last turn; a frame in so long moves fluently; painting in so long keeps it sharp under a slider. */
  const REST_MS = 160, FLUENT_MS = 30, QUICK_MS = 40;
  /* How many pixels of the canvas one of a coarse picture is wide: where its time is taken, at most, and where nobody sees it. */
  const TIMED_ROUGH = 4, COARSEST = 6, UNSEEN = 64;
  /* Of the sharp picture, which is coarser than the canvas where that has more. */
  const MOST_PIXELS = 3.2e6;
  const POSE = ["yaw", "pitch", "zoom", "x", "y"];
  const AS_IT_STANDS = {
    yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0, factors: null, coats: null, strengths: null, widths: null, upTo: null, light: null, compare: null, overlay: null,
  };

  /* Thrown by `load` where a part has more bands, coats or dyes than this machine's graphics chip takes in one picture. */
  class TooMuch extends Error {}

  /* A picture on a canvas. `onLost` is called when the browser takes the graphics chip away, `onBack` when it is there again,
   `onSharp` when what was drawn coarsely stands in full. */
  function Solid(canvas, calls) {
    const self = this, gl = canvas.getContext("webgl2", { alpha: false, antialias: false, depth: false, stencil: false, preserveDrawingBuffer: false });
    if (!gl) { throw new Error("no WebGL 2"); }
    this.canvas = canvas;
    this.gl = gl;
    this.calls = calls || {};
    this.state = Object.assign({}, AS_IT_STANDS);
    this.wide = typeof window !== "undefined" && window.matchMedia("(color-gamut: p3)").matches && "drawingBufferColorSpace" in gl;
    if (this.wide) { gl.drawingBufferColorSpace = "display-p3"; }
    canvas.addEventListener("webglcontextlost", function (event) {
      event.preventDefault();
      self.data = self.refining = null;
      if (self.calls.onLost) { self.calls.onLost(); }
    });
    canvas.addEventListener("webglcontextrestored", function () {
      self.begin();
      if (self.calls.onBack) { self.calls.onBack(); }
    });
    this.begin();
  }

  Solid.prototype.begin = function () {
    LiveGl.begin(this.gl);
    this.programs = new LiveGl.Programs(this.gl);
    this.textures = {};
    this.bytes = {};
    this.data = this.scene = null;
    this.light = this.shown = this.shadow = this.laid = this.room = this.refining = null;
    this.rooms = {};
    this.rowsOf = {};
    this.version = this.part = {};   // of what is set, and of the bodies: another object after each change
    this.rough = 1;
    this.timed = false;
    this.restUntil = 0;
  };

  /* Everything in a value that names a texture. */
  function named(value, found) {
    if (value && typeof value === "object") {
      if (value.hash && value.format) { found[value.hash] = value; }
      Object.values(value).forEach(function (part) { named(part, found); });
    }
    return found;
  }

  /* Take a picture; the one before stays until this one can be drawn. fetchBytes(hash) -> Promise<ArrayBuffer>. */
  Solid.prototype.load = async function (picture, fetchBytes) {
    const gl = this.gl, self = this, wanted = named(picture, {});
    this.loading = picture;
    if (!LivePaint.fits(gl, picture)) { throw new TooMuch("too many channels"); }
    const coming = Promise.all(Object.values(wanted).map(async function (told) {
      if (self.textures[told.hash]) { return; }
      const bytes = await fetchBytes(told.hash);
      if (self.textures[told.hash] || gl.isContextLost()) { return; }
      self.textures[told.hash] = LiveGl.texture(gl, told, bytes);
      self.bytes[told.hash] = bytes;
    }));
    const scene = this.prepared(picture);
    await this.programs.made(scene.programs).catch(function (error) { throw new TooMuch(error.message); });
    if (!this.scene && this.loading === picture && !gl.isContextLost()) { this.makePrograms(picture); }
    await coming;
    if (this.loading !== picture || gl.isContextLost()) { return; }
    this.linked(scene);
    this.refining = null;
    const near = new Set(picture.solids.map(function (s) { return s.body.lattices && s.body.lattices.near.hash; }));
    Object.keys(this.bytes).forEach(function (hash) { if (!near.has(hash)) { delete self.bytes[hash]; } });
    Object.keys(this.textures).forEach(function (hash) {
      if (!wanted[hash]) { gl.deleteTexture(self.textures[hash].texture); delete self.textures[hash]; }
    });
    if (!this.scene || this.scene.shape !== scene.shape) {
      this.forgetMade();
      this.part = {};
      this.timed = false;
    } else {
      Object.assign(scene, { faces: this.scene.faces, flashes: this.scene.flashes });
    }
    this.data = picture;
    this.scene = scene;
    this.version = {};
    if (!this.state.light || !picture.lights[this.state.light]) { this.state.light = Object.keys(picture.lights)[0]; }
  };

  /* Browsers make a program where it is first drawn with: here over textures of one place, while the real ones come. */
  Solid.prototype.makePrograms = function (picture) {
    const gl = this.gl, textures = this.textures;
    const small = JSON.parse(JSON.stringify(picture), function (_, value) {
      return value && value.hash && value.format ? Object.assign(value, { width: 1, height: 1 }) : value;
    });
    const scene = this.prepared(small);
    this.linked(scene);
    this.textures = Object.fromEntries(Object.values(named(small, {})).map(function (told) { return [told.hash, LiveGl.texture(gl, told, null)]; }));
    this.data = small;
    this.scene = scene;
    this.write(UNSEEN);
    this.paint(Object.assign({}, this.state, { light: Object.keys(small.lights)[0] }), 0, this.shown.width, [0, this.shown.height]);
    Object.values(this.textures).forEach(function (made) { gl.deleteTexture(made.texture); });
    this.forgetMade();
    this.part = {};
    this.textures = textures;
    this.data = null;
  };

  /* Programs and numbers of a picture; `shape` tells whether its light has to be written down anew. */
  Solid.prototype.prepared = function (picture) {
    const programs = this.programs, lights = picture.lights;
    const nodes = picture.skins.map(function (_, i) {
      return Math.max.apply(null, Object.values(lights).map(function (looks) { return looks[i].look.wavelength_nm.length; }));
    });
    const shape = JSON.stringify([picture.solids, picture.mirror, picture.width_px, picture.pixel_mm, picture.skins.map(function (skin) {
      return [skin.size_mm, skin.optics, skin.surface, skin.clear_lean, skin.photo, skin.beside];
    })]);
    const made = {
      shape: shape,
      faces: {},
      flashes: {},
      light: picture.solids.map(function (solid) { return programs.of(LiveLight.shader(picture, solid)); }),
      cover: picture.solids.map(function (solid) { return programs.of(LivePaint.coverShader(solid)); }),
      blur: programs.of(LivePaint.blurShader()),
      ground: programs.of(LivePaint.ground(picture)),
      nodes: nodes,
      laid: {},
      skins: picture.skins.map(function (_, i) { return programs.of(LivePaint.shader(picture, i, nodes[i], false)); }),
      numbers: Object.fromEntries(Object.keys(lights).map(function (light) {
        return [light, lights[light].map(function (one, i) { return Film.numbers(one.look, picture.skins[i].layers.length); })];
      })),
    };
    made.programs = made.light.concat(made.cover, made.skins, [made.blur, made.ground]);
    return made;
  };

  Solid.prototype.forgetMade = function () {
    const gl = this.gl;
    if (!this.scene) { return; }
    Object.values(this.scene.faces).forEach(function (t) { gl.deleteTexture(t.texture); });
    Object.values(this.scene.flashes).forEach(function (made) { LiveGl.forget(gl, made); });
    this.scene = null;
  };

  /* How it is looked at; what is not said stays. Angles are turns from how each solid stands [deg]. */
  Solid.prototype.set = function (changes) {
    const state = this.state, self = this;
    Object.keys(changes).forEach(function (name) {
      if (changes[name] === undefined || JSON.stringify(changes[name]) === JSON.stringify(state[name])) { return; }
      state[name] = changes[name];
      self.version = {};
      if (POSE.indexOf(name) >= 0) { self.restUntil = performance.now() + REST_MS; }
    });
    if (this.data && !this.data.lights[state.light]) { state.light = Object.keys(this.data.lights)[0]; }
  };

  /* What shadows depend on: they are made anew where it is another. */
  Solid.prototype.turned = function () { return JSON.stringify([this.state.yaw, this.state.pitch]); };

  /* Whether what a room has written down is of this part, pose and size. */
  Solid.prototype.isWritten = function (room) { return Boolean(room) && room.part === this.part && room.of === this.posed(); };

  Solid.prototype.posed = function () {
    const state = this.state;
    return JSON.stringify([POSE.map(function (name) { return state[name]; }), this.canvas.width, this.canvas.height]);
  };

  Solid.prototype.writtenNow = function () { Object.assign(this.room, { part: this.part, of: this.posed(), painted: null }); };

  /* What a pixel of the canvas is on the picture: its size [mm] and where the canvas' corner lies. */
  Solid.prototype.view = function () {
    const d = this.data, s = this.state, w = this.canvas.width, h = this.canvas.height;
    const wide = d.width_px * d.pixel_mm, tall = d.height_px * d.pixel_mm, pixel = Math.max(wide / w, tall / h) / s.zoom;
    return { pixel: pixel, corner: [0.5 * wide - (0.5 + s.x) * w * pixel, 0.5 * tall - (0.5 + s.y) * h * pixel], tall: h, whole: [wide, tall] };
  };

  Solid.prototype.turnOf = function (solid) {
    return LiveBody.turn(solid.pose.yaw_deg + this.state.yaw, solid.pose.pitch_deg + this.state.pitch);
  };

  /* See that the chip takes the programs: else it would be found out in the middle of a frame. */
  Solid.prototype.linked = function (scene) {
    try {
      scene.programs.forEach(this.programs.use, this.programs);
    } catch (error) {
      throw new TooMuch(error.message);
    }
  };

  /* How many pixels of the canvas one of the sharp picture is wide: more than one on very large canvases. */
  Solid.prototype.least = function () { return Math.max(1, Math.sqrt(this.canvas.width * this.canvas.height / MOST_PIXELS)); };

  /*
   * Draw one frame. Where that is slow it is drawn coarsely and made sharp once it rests; with { timed: true } it is drawn in
   * full unless it moves, and waited for: gives the milliseconds it took. Call it as the browser draws.
   */
  Solid.prototype.draw = function (how) {
    if (!this.data || this.gl.isContextLost()) { return null; }
    const start = performance.now(), timed = Boolean(how && how.timed), least = this.least();
    if (!this.timed) { this.takeTime(); }
    const sharp = this.rooms.sharp, quick = sharp && (sharp.painted === this.version || sharp.paintMs < QUICK_MS);
    const full = this.rough <= least || (timed ? start >= this.restUntil : quick && this.isWritten(sharp));
    const room = this.rooms[full ? "sharp" : "coarse"];
    if (this.isWritten(room)) { this.enter(room); } else { this.write(full ? least : this.rough); }
    if (timed || this.room.painted !== this.version) { this.paintAll(); }
    LiveGl.show(this.gl, this.programs, this.shown);
    if (!full && !this.refining) { this.sharpenSoon(); }
    if (!timed) { return null; }
    this.wait();
    return performance.now() - start;
  };

  /* Write down all that depends on the pose. */
  Solid.prototype.write = function (rough) {
    this.refining = null;
    const room = this.makeRoom(rough);
    this.shadowSteps(room, rough < LiveWrite.SLOW_ROUGH ? 1 : Math.round(rough)).forEach(function (step) { step.deed([0, step.height]); });
    this.enter(room);
    this.writeLight([0, this.shown.height]);
    this.writeGround([0, this.shown.height]);
    this.writtenNow();
  };

  /* How coarsely it has to be drawn to move fluently: by the second of two coarse frames, since the first makes programs. */
  Solid.prototype.takeTime = function () {
    let start = 0;
    for (let i = 0; i < 2; i += 1) {
      this.wait();
      start = performance.now();
      this.drawToTime();
    }
    this.wait();
    this.timeTaken(performance.now() - start);
  };

  Solid.prototype.drawToTime = function () {
    this.write(TIMED_ROUGH);
    this.paintAll();
    LiveGl.show(this.gl, this.programs, this.shown);
  };

  Solid.prototype.timeTaken = function (ms) {
    this.timed = true;
    this.rough = Math.min(COARSEST, Math.max(1, Math.round(TIMED_ROUGH * Math.sqrt(ms / FLUENT_MS))));
    Object.values(this.rooms).forEach(function (room) { room.of = null; });
    if (this.rough > 1) { this.restUntil = performance.now() + REST_MS; }
  };

  Solid.prototype.sharpenSoon = function () {
    const self = this;
    clearTimeout(this.sharpening);
    this.sharpening = setTimeout(function () { self.refine(); }, REST_MS + 10);
  };

  Solid.prototype.wait = function () {
    this.gl.bindFramebuffer(this.gl.FRAMEBUFFER, null);
    this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, new Uint8Array(4));
  };

  /* Draw in full and wait until it stands. */
  Solid.prototype.finish = function () {
    if (this.data && !this.timed) { this.draw(); }
    this.restUntil = 0;
    clearTimeout(this.sharpening);
    this.draw({ timed: true });
  };

  Object.assign(Solid.prototype, LiveWrite.methods, LivePaint.methods, LivePieces.methods, LiveLaid.methods, LiveTouch.methods);
  return { Solid: Solid, TooMuch: TooMuch };
})();
