/* What is written down for a pose, before any film: the light of every pixel (light.js) and the part's shadow. */
const LiveWrite = (function () {
  "use strict";
  /* Where one of the picture's pixels is wider than so many of the canvas', frames are slow: then only so many samples of one. */
  const SLOW_ROUGH = 2, MOVING_SAMPLES = 2;
  /* Of a Live.Solid. */
  const methods = {};

  /* The box that a solid may cover, from the lower left corner [px]: [left, bottom, width, height], or null. */
  function boxOf(solid, matrix, view, width, height) {
    const reach = LiveBody.reach(solid.body, matrix), at = solid.middle_mm;
    const left = Math.max(0, Math.floor((at[0] - reach[0] - view.corner[0]) / view.pixel)), top = Math.max(0, Math.floor((at[1] - reach[1] - view.corner[1]) / view.pixel));
    const right = Math.min(width, Math.ceil((at[0] + reach[0] - view.corner[0]) / view.pixel) + 1), bottom = Math.min(height, Math.ceil((at[1] + reach[1] - view.corner[1]) / view.pixel) + 1);
    return right > left && bottom > top ? [left, height - bottom, right - left, bottom - top] : null;
  }

  /*
   * Make room for pictures whose pixels are `rough` of the canvas' wide and high, and look at the part through them. What is
   * drawn coarsely while the part moves has a room of its own: the sharp picture is made beside it, piece by piece.
   */
  methods.makeRoom = function (rough) {
    const gl = this.gl, view = this.view(), width = Math.ceil(this.canvas.width / rough), height = Math.ceil(this.canvas.height / rough);
    const name = rough > this.least() ? "coarse" : "sharp", before = this.rooms[name];
    const stays = before && before.light.width === width && before.light.height === height;
    if (before && !stays) {
      LiveGl.forget(gl, before.light);
      LiveGl.forget(gl, before.shown);
    }
    const room = this.rooms[name] = stays ? before : { name: name, light: LiveGl.target(gl, "RGBA32UI", width, height, 2), shown: LiveGl.deepTarget(gl, width, height) };
    if (!stays && before) { room.shadow = before.shadow; }
    room.seenAt = { pixel: view.pixel * this.canvas.width / width, corner: view.corner, tall: height, rough: rough };
    this.enter(room);
    return room;
  };

  /* Write and paint in this room. */
  methods.enter = function (room) { Object.assign(this, { room: room, light: room.light, shown: room.shown, seenAt: room.seenAt, shadow: room.shadow }); };

  /* The part of a box that lies in a band of rows, or null. */
  function inBand(box, band) {
    const bottom = box && Math.max(box[1], band[0]), top = box && Math.min(box[1] + box[3], band[1]);
    return box && top > bottom ? [box[0], bottom, box[2], top - bottom] : null;
  }

  /* Write down the light of every pixel of a band of rows, counted from below. */
  methods.writeLight = function (band) {
    const gl = this.gl, self = this, d = this.data, view = this.seenAt, width = this.light.width, height = this.light.height;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.light.frame);
    gl.scissor(0, band[0], width, band[1] - band[0]);
    gl.clearBufferuiv(gl.COLOR, 0, new Uint32Array(4));
    gl.clearBufferuiv(gl.COLOR, 1, new Uint32Array(4));
    d.solids.forEach(function (solid, i) {
      const matrix = self.turnOf(solid), box = inBand(boxOf(solid, matrix, view, width, height), band);
      if (!box) { return; }
      const flashes = self.flashesOf(solid), w = self.programs.use(self.scene.light[i]);
      LiveBody.set(gl, w, solid, matrix, view);
      self.setLaws(w, solid, flashes);
      LiveGl.fill(gl, self.light, box);
    });
  };

  function lattices(textures, solid) {
    const l = solid.body.lattices;
    return l ? { uNear: textures[l.near.hash], uRest: textures[l.rest.hash], uSlopes: textures[l.slopes.hash] } : {};
  }

  methods.setLaws = function (w, solid, flashes) {
    const gl = this.gl, d = this.data, self = this, textures = this.textures, bound = lattices(textures, solid);
    const skins = Array.from(new Set(Object.values(solid.skins))), optics = d.skins[skins[0]].optics;
    bound.uMirror = textures[d.mirror.levels.hash];
    bound.uFace = this.faceTable(skins[0], optics);
    skins.forEach(function (i) {
      const skin = d.skins[i], metal = skin.optics.metal, values = {};
      values["uSkinSize" + i] = skin.size_mm;
      if (skin.beside) { values["uBesideSize" + i] = skin.beside.size_mm; }
      if (metal) {
        bound["uLaw" + i] = textures[metal.law.hash];
        values["uTable" + i] = [metal.facets, metal.facets_reach];
      }
      if (skin.surface) {
        bound["uSlopes" + i] = textures[skin.surface.slopes.hash];
        values["uStepMm" + i] = skin.surface.step_mm;
        if (flashes[i]) {
          bound["uLight" + i] = flashes[i].textures[0];
          values["uLightTop" + i] = LiveLight.brightest(skin.surface);
        }
      }
      LiveGl.uniforms(gl, w, values);
    });
    LiveGl.bind(gl, w, bound);
    LiveGl.uniforms(gl, w, {
      uFilms: optics.films, uFilmsReach: optics.films_reach, uMirrorReach: d.mirror.reach, uLeastFacing: d.least_facing,
      uSampleMm: d.sample_mm, uDarkOver: d.inside.dark_over_mm,
    });
    if (w.uBlurs) { gl.uniform1fv(w.uBlurs, d.mirror.blurs); }
    if (w.uMostSamples) { gl.uniform1i(w.uMostSamples, this.seenAt.rough > SLOW_ROUGH ? MOVING_SAMPLES : d.most_samples); }
    return self;
  };

  /* The law of what scatters evenly, a small table; the same for all skins. */
  methods.faceTable = function (index, optics) {
    const faces = this.scene.faces;
    if (!faces[index]) {
      const told = { format: "RGBA32F", width: optics.films, height: optics.films };
      faces[index] = LiveGl.texture(this.gl, told, new Float32Array(optics.face.flat()).buffer);
    }
    return faces[index];
  };

  /* What decides which flakes flash. */
  methods.phase = function () { return this.state.yaw / this.data.flake_turn_deg; };

  methods.flashesTarget = function (surface) {
    const key = surface.numbers.hash + JSON.stringify(surface.flashes), told = surface.slopes, made = this.scene.flashes;
    made[key] = made[key] || LiveGl.target(this.gl, "RG8", told.width, told.height, 1);
    return made[key];
  };

  /* What flashes on the skins of a solid in its turn; made anew where that changed. */
  methods.flashesOf = function (solid) {
    const self = this, phase = this.phase(), found = {};
    Object.values(solid.skins).forEach(function (i) {
      const surface = self.data.skins[i].surface;
      if (!surface || !surface.flashes) { return; }
      const made = found[i] = self.flashesTarget(surface);
      // Where frames are slow flakes stay as they are until the part rests.
      if (made.phase === phase || (made.phase !== undefined && self.seenAt.rough > SLOW_ROUGH)) { return; }
      self.writeFlashes(surface, made, phase, [0, made.height]);
    });
    return found;
  };

  /* Rows `band` of what flashes on a surface. */
  methods.writeFlashes = function (surface, made, phase, band) {
    const gl = this.gl, w = this.programs.use(this.programs.of(LiveLight.flashesShader(surface)));
    made.phase = phase;
    LiveGl.bind(gl, w, { uNumbers: this.textures[surface.numbers.hash], uGain: surface.gain && this.textures[surface.gain.hash] || this.textures[surface.slopes.hash] });
    LiveGl.uniforms(gl, w, { uPhase: phase, uTop: LiveLight.brightest(surface) });
    LiveGl.fill(gl, made, [0, band[0], made.width, band[1] - band[0]]);
  };

  /*
   * The steps in which a room's shadow of the part on the wall is made, from a small picture of it: a height each, and a deed
   * that does a band of rows of it.
   */
  methods.shadowSteps = function (room, rough) {
    const gl = this.gl, self = this, d = this.data, small = rough * Math.max(1, Math.floor(d.width_px / d.wall.shadow_px));
    const width = Math.ceil(d.width_px / small), height = Math.ceil(d.height_px / small), pixel = d.pixel_mm * small, of = this.turned();
    const before = room.shadow, stays = before && before.width === width && before.height === height;
    const largest = Math.max.apply(null, d.solids.map(function (s) { return Math.max(s.body.width_mm, s.body.height_mm); }));
    if (stays && before.of === of && before.part === this.part) { return []; }
    if (before && !stays) { before.targets.forEach(function (made) { LiveGl.forget(gl, made); }); }
    const shadow = room.shadow = {
      width: width, height: height, whole: [width * pixel, height * pixel],
      targets: stays ? before.targets : [0, 1].map(function () { return LiveGl.target(gl, "RGBA8", width, height, 1); }),
      moved: d.wall.moved.map(function (share, k) { return share * largest / [width * pixel, height * pixel][k]; }),
    };
    const blurred = function (from, to, along) {
      return { height: height, deed: function (band) {
        const w = self.programs.use(self.scene.blur);
        LiveGl.bind(gl, w, { uCover: shadow.targets[from].textures[0] });
        LiveGl.uniforms(gl, w, { uAlong: along, uSigma: [d.wall.near * largest / pixel, d.wall.far * largest / pixel] });
        LiveGl.fill(gl, shadow.targets[to], [0, band[0], width, band[1] - band[0]]);
        if (to === 0 && band[1] === height) { Object.assign(shadow, { of: of, part: self.part }); }
      } };
    };
    return [{ height: height, deed: function (band) { self.writeCover(shadow, pixel, band); } }, blurred(0, 1, [1, 0]), blurred(1, 0, [0, 1])];
  };

  /* What of the small picture for the shadow the part covers. */
  methods.writeCover = function (shadow, pixel, band) {
    const gl = this.gl, self = this, view = { pixel: pixel, corner: [0, 0], tall: shadow.height };
    gl.bindFramebuffer(gl.FRAMEBUFFER, shadow.targets[0].frame);
    gl.scissor(0, band[0], shadow.width, band[1] - band[0]);
    gl.clearBufferfv(gl.COLOR, 0, new Float32Array(4));
    this.data.solids.forEach(function (solid, i) {
      const matrix = self.turnOf(solid), box = inBand(boxOf(solid, matrix, view, shadow.width, shadow.height), band), w = self.programs.use(self.scene.cover[i]);
      LiveBody.set(gl, w, solid, matrix, view);
      LiveGl.bind(gl, w, lattices(self.textures, solid));
      if (box) { LiveGl.fill(gl, shadow.targets[0], box); }
    });
  };

  return { methods: methods, boxOf: boxOf, inBand: inBand, SLOW_ROUGH: SLOW_ROUGH };
})();
