/* What is written down for a pose, before any film: the light of every pixel (light.js) and the part's shadow. */
const LiveWrite = (function () {
  "use strict";
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

  /* Make room for pictures whose pixels are `rough` of the canvas' wide and high, and look at the part through them. */
  methods.makeRoom = function (rough) {
    const gl = this.gl, view = this.view(), width = Math.ceil(this.canvas.width / rough), height = Math.ceil(this.canvas.height / rough);
    if (!this.light || this.light.width !== width || this.light.height !== height) {
      LiveGl.forget(gl, this.light);
      LiveGl.forget(gl, this.shown);
      this.light = LiveGl.target(gl, "RGBA32UI", width, height, 2);
      this.shown = LiveGl.deepTarget(gl, width, height);
    }
    this.seenAt = { pixel: view.pixel * this.canvas.width / width, corner: view.corner, tall: height, rough: rough };
  };

  /* Write down the light of every pixel. */
  methods.writeLight = function () {
    const gl = this.gl, self = this, d = this.data, view = this.seenAt, width = this.light.width, height = this.light.height;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.light.frame);
    gl.scissor(0, 0, width, height);
    gl.clearBufferuiv(gl.COLOR, 0, new Uint32Array(4));
    gl.clearBufferuiv(gl.COLOR, 1, new Uint32Array(4));
    d.solids.forEach(function (solid, i) {
      const matrix = self.turnOf(solid), box = boxOf(solid, matrix, view, width, height);
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

  /* What flashes on the skins of a solid in its turn; made anew where that changed. */
  methods.flashesOf = function (solid) {
    const gl = this.gl, self = this, phase = this.state.yaw / this.data.flake_turn_deg, found = {};
    Object.values(solid.skins).forEach(function (i) {
      const surface = self.data.skins[i].surface;
      if (!surface || !surface.flashes) { return; }
      const key = surface.numbers.hash + JSON.stringify(surface.flashes), told = surface.slopes;
      const made = self.scene.flashes[key] || LiveGl.target(gl, "RG8", told.width, told.height, 1);
      self.scene.flashes[key] = found[i] = made;
      // Where frames are slow flakes stay as they are until the part rests.
      if (made.phase === phase || (made.phase !== undefined && self.seenAt.rough > SLOW_ROUGH)) { return; }
      made.phase = phase;
      const w = self.programs.use(self.programs.of(LiveLight.flashesShader(surface)));
      LiveGl.bind(gl, w, { uNumbers: self.textures[surface.numbers.hash], uGain: surface.gain && self.textures[surface.gain.hash] || self.textures[surface.slopes.hash] });
      LiveGl.uniforms(gl, w, { uPhase: phase, uTop: LiveLight.brightest(surface) });
      LiveGl.fill(gl, made, [0, 0, told.width, told.height]);
    });
    return found;
  };

  /* The part's shadow on the wall, from a small picture of it. */
  methods.writeShadow = function (rough) {
    const gl = this.gl, self = this, d = this.data, small = rough * Math.max(1, Math.floor(d.width_px / d.wall.shadow_px));
    this.shadowRough = rough;
    const width = Math.ceil(d.width_px / small), height = Math.ceil(d.height_px / small), pixel = d.pixel_mm * small;
    if (!this.shadow || this.shadow[0].width !== width || this.shadow[0].height !== height) {
      (this.shadow || []).forEach(function (made) { LiveGl.forget(gl, made); });
      this.shadow = [0, 1].map(function () { return LiveGl.target(gl, "RGBA8", width, height, 1); });
    }
    const view = { pixel: pixel, corner: [0, 0], tall: height };
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.shadow[0].frame);
    gl.scissor(0, 0, width, height);
    gl.clearBufferfv(gl.COLOR, 0, new Float32Array(4));
    d.solids.forEach(function (solid, i) {
      const matrix = self.turnOf(solid), box = boxOf(solid, matrix, view, width, height), w = self.programs.use(self.scene.cover[i]);
      LiveBody.set(gl, w, solid, matrix, view);
      LiveGl.bind(gl, w, lattices(self.textures, solid));
      if (box) { LiveGl.fill(gl, self.shadow[0], box); }
    });
    const largest = Math.max.apply(null, d.solids.map(function (s) { return Math.max(s.body.width_mm, s.body.height_mm); })), w = this.programs.use(this.scene.blur);
    [[0, 1, [1, 0]], [1, 0, [0, 1]]].forEach(function (step) {
      LiveGl.bind(gl, w, { uCover: self.shadow[step[0]].textures[0] });
      LiveGl.uniforms(gl, w, { uAlong: step[2], uSigma: [d.wall.near * largest / pixel, d.wall.far * largest / pixel] });
      LiveGl.fill(gl, self.shadow[step[1]], [0, 0, width, height]);
    });
    this.moved = d.wall.moved.map(function (share, k) { return share * largest / [width * pixel, height * pixel][k]; });
    this.shadowWhole = [width * pixel, height * pixel];
  };

  return { methods: methods, boxOf: boxOf, SLOW_ROUGH: SLOW_ROUGH };
})();
