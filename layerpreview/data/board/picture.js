/* Live colour: the same sum over the same few wavelengths as finish/engine.py, for every pixel on the screen. */
const Painter = (function () {
  "use strict";
  const PATH_STEPS = 17;
  const VERTEX = "#version 300 es\nin vec2 at; void main() { gl_Position = vec4(at, 0.0, 1.0); }";

  /* One program per face: its surfaces and layers are written out, its numbers come in as uniforms. */
  function fragment(option, nodes) {
    const layers = option.layers;
    const quads = Film.quadsOf(layers);
    const lines = [
      "#version 300 es",
      "precision highp float;",
      "precision highp int;",
      "precision highp sampler2D;",
      Film.uniforms(option, nodes),
      "uniform sampler2D uBase, uCover, uBuilds, uSoak, uSeats, uSeatShare;",
      "uniform vec2 uSize, uOrigin;",
      "uniform vec3 uPaths[" + PATH_STEPS + "];",
      "uniform float uPathTop;",
      "uniform float uScale, uTop, uGain, uSoakLow, uSoakHigh, uVeil, uSurround, uFade, uStripe;",
      "uniform int uMode;",
      "uniform mat3 uScreen;",
      "uniform vec4 uFactor[QUADS];",
      "uniform vec4 uShare[QUADS];",
      "uniform vec4 uPlace[" + Math.max(1, option.builds.places.length) + "];",
      "uniform vec2 uStep[" + Math.max(1, option.builds.places.length) + "];",
      "out vec4 outColour;",
      "float code(ivec2 at) {",
      "  vec2 v = round(texelFetch(uBuilds, at, 0).rg * 255.0);",
      "  return v.r * 256.0 + v.g;",
      "}",
      "float build(int map, vec2 p) {",
      "  vec4 place = uPlace[map];",
      "  vec2 q = clamp(p / uStep[map].x - 0.5, vec2(0.0), place.zw - 1.0);",
      "  ivec2 i = ivec2(floor(q)), o = ivec2(place.xy), j = min(i + 1, ivec2(place.zw) - 1);",
      "  vec2 t = q - vec2(i);",
      "  float a = mix(code(o + i), code(o + ivec2(j.x, i.y)), t.x);",
      "  float b = mix(code(o + ivec2(i.x, j.y)), code(o + j), t.x);",
      "  return mix(a, b, t.y) * uStep[map].y;",
      "}",
      Film.screen(Film.NOT_ROLLED),
      "void main() {",
      "  vec2 p = vec2(gl_FragCoord.x - uOrigin.x, uTop - gl_FragCoord.y - uOrigin.y) / uScale;",
      "  vec2 uv = p / uSize;",
      "  float cover = texture(uCover, uv).r;",
      "  vec3 base = texture(uBase, uv).rgb * uGain;",
      "  float grey = dot(base, vec3(1.0 / 3.0));",
      option.paths ? "  float rung = sqrt(min(grey / uPathTop, 1.0)) * " + Film.float(PATH_STEPS - 1) + ";" : "",
      option.paths ? "  int low = min(int(rung), " + (PATH_STEPS - 2) + ");" : "",
      option.paths ? "  vec3 path = mix(uPaths[low], uPaths[low + 1], rung - float(low));" : "",
      option.soak ? "  float soak = mix(uSoakLow, uSoakHigh, texture(uSoak, uv).r);" : "",
      "  if (any(lessThan(p, vec2(0.0))) || any(greaterThan(p, uSize))) cover = 0.0;",
      "  vec3 rgb = vec3(0.0);",
      "  bool outside = false;",
      "  if (cover > 0.0) {",
      "    vec4 b[QUADS];",
    ];
    for (let q = 0; q < quads; q += 1) {
      const parts = [0, 1, 2, 3].map(function (k) {
        const layer = 4 * q + k;
        if (layer >= layers) { return "0.0"; }
        const map = option.builds.of_layer[layer];
        return map === null ? Film.float(option.builds.constant[layer]) : "build(" + map + ", p)";
      });
      const soaks = [0, 1, 2, 3].map(function (k) {
        return option.soak && option.soak.shares[4 * q + k] ? "1.0 + uShare[" + q + "][" + k + "] * (soak - 1.0)" : "1.0";
      });
      lines.push("    b[" + q + "] = vec4(" + parts.join(", ") + ") * uFactor[" + q + "] * vec4(" + soaks.join(", ") + ");");
    }
    lines.push(Film.sum(option));
    lines.push(
      "    rgb = mix(rgb, vec3(1.0), uVeil);",
      option.seats ? "    rgb = mix(rgb, texture(uSeats, uv).rgb, texture(uSeatShare, uv).r);" : "",
      "    vec3 there = uScreen * rgb;",
      "    outside = any(lessThan(there, vec3(-1e-3))) || any(greaterThan(there, vec3(1.005)));",
      "  }",
      "  if (uMode == 2) { outColour = vec4(cover > 0.5 ? 1.0 : 0.0, cover > 0.5 && outside ? 1.0 : 0.0, 0.0, 1.0); return; }",
      "  vec3 shown = encoded(onScreen(mix(vec3(uSurround), rgb, cover)));",
      "  if (uMode == 1 && outside && mod(gl_FragCoord.x + gl_FragCoord.y, uStripe) < 0.3 * uStripe)",
      "    shown = vec3(dot(shown, vec3(0.3, 0.6, 0.1)) > 0.45 ? 0.0 : 1.0);",
      "  outColour = vec4(shown, uFade);",
      "}"
    );
    return lines.join("\n");
  }

  function Painter(canvas, data) {
    this.canvas = canvas;
    this.data = data;
    this.gl = canvas.getContext("webgl2", { alpha: false, antialias: false, preserveDrawingBuffer: false });
    if (!this.gl) { throw new Error("no WebGL 2"); }
    this.wide = window.matchMedia("(color-gamut: p3)").matches && "drawingBufferColorSpace" in this.gl;
    if (this.wide) { this.gl.drawingBufferColorSpace = "display-p3"; }
    this.textures = {};
    this.programs = data.options.map(function () { return null; });
    this.made = {};
    this.kept = {};
  }

  Painter.prototype.begin = function () {
    const gl = this.gl, limit = gl.getParameter(gl.MAX_TEXTURE_SIZE);
    this.data.options.forEach(function (option) {
      option.faces.forEach(function (face) {
        if (Math.max(face.width, face.height) > limit) { throw new Error("picture too large"); }
      });
    });
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 3, -1, -1, 3]), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 2, gl.FLOAT, false, 0, 0);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
    gl.pixelStorei(gl.UNPACK_PREMULTIPLY_ALPHA_WEBGL, false);
  };

  /* Make an option ready to be drawn straight on: its programs and pictures. What others brought already is shared. */
  Painter.prototype.prepare = async function (index) {
    const option = this.data.options[index], kinds = {}, self = this;
    option.faces.forEach(function (face) {
      kinds[face.cover] = "cover";
      kinds[face.builds.texture] = "builds";
      if (face.soak) { kinds[face.soak.texture] = "cover"; }
      if (face.seats) {
        kinds[face.seats.share] = "cover";
        Object.values(face.seats.colours).forEach(function (name) { kinds[name] = "base"; });
      }
      kinds[face.views[0].texture] = "base";
    });
    const programs = option.faces.map(function (face) { return self.program(option, face); });
    await this.load(kinds);
    programs.forEach(function (made) { self.locate(made); });
    this.programs[index] = programs;
  };

  /* The pictures of an option from the side, which nobody needs at once. */
  Painter.prototype.prepareTilt = function (index) {
    const kinds = {};
    this.data.options[index].faces.forEach(function (face) {
      face.views.forEach(function (view) { kinds[view.texture] = "base"; });
    });
    return this.load(kinds);
  };

  Painter.prototype.load = function (kinds) {
    const self = this;
    return Promise.all(Object.keys(kinds).map(async function (name) {
      if (self.textures[name]) { return; }
      const image = new Image();
      image.src = self.data.textures[name];
      await image.decode();
      if (!self.textures[name]) { self.textures[name] = self.texture(image, kinds[name]); }
    }));
  };

  Painter.prototype.texture = function (image, kind) {
    const gl = this.gl, texture = gl.createTexture();
    const format = kind === "base" ? gl.SRGB8_ALPHA8 : kind === "cover" ? gl.R8 : gl.RGBA8;
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texImage2D(gl.TEXTURE_2D, 0, format, kind === "cover" ? gl.RED : gl.RGBA, gl.UNSIGNED_BYTE, image);
    const smooth = kind !== "builds";
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, smooth ? gl.LINEAR_MIPMAP_LINEAR : gl.NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, smooth ? gl.LINEAR : gl.NEAREST);
    if (smooth) { gl.generateMipmap(gl.TEXTURE_2D); }
    return texture;
  };

  Painter.prototype.program = function (option, face) {
    const gl = this.gl, looks = Object.values(option.looks);
    const nodes = Math.max.apply(null, looks.map(function (views) { return views[0][face.kind].wavelength_nm.length; }));
    const first = looks[0][0][face.kind];
    const text = fragment({
      layers: option.coats.length, builds: face.builds,
      seen: first.seen, tint: first.tint !== null, soak: face.soak, seats: face.seats !== null, paths: face.views[0].paths !== null,
    }, nodes);
    if (this.made[text]) { return this.made[text]; }
    const program = gl.createProgram();
    [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, text]].forEach(function (pair) {
      const shader = gl.createShader(pair[0]);
      gl.shaderSource(shader, pair[1]);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    });
    gl.bindAttribLocation(program, 0, "at");
    gl.linkProgram(program);
    this.made[text] = { program: program, where: null };
    return this.made[text];
  };

  /* Asked for last, so that the browser may compile while pictures are decoded. */
  Painter.prototype.locate = function (made) {
    const gl = this.gl, program = made.program;
    if (made.where) { return; }
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) { throw new Error(gl.getProgramInfoLog(program) || "link"); }
    made.where = {};
    const count = gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS);
    for (let i = 0; i < count; i += 1) {
      const name = gl.getActiveUniform(program, i).name;
      made.where[name.replace("[0]", "")] = gl.getUniformLocation(program, name);
    }
  };

  /* A look's numbers, kept, since only the factors change while a slider moves. */
  Painter.prototype.numbers = function (index, light, view, kind) {
    const kept = this.kept, key = [index, light, view, kind].join(" "), option = this.data.options[index];
    kept[key] = kept[key] || Film.numbers(option.looks[light][view][kind], option.coats.length);
    return kept[key];
  };

  /*
   * Draw an option into a box of the canvas (pixels from its top left corner).
   * shot: option (index), light, view, factors (per layer), scale, left, top (of the picture), mode, fade, and
   * only (index of the one face to draw, or null for all).
   */
  Painter.prototype.draw = function (box, shot) {
    const gl = this.gl, option = this.data.options[shot.option], height = this.canvas.height;
    gl.viewport(0, 0, this.canvas.width, height);
    gl.enable(gl.SCISSOR_TEST);
    if (shot.fade === 1) {
      const grey = shot.mode === 2 ? 0 : 1.055 * Math.pow(option.surround, 1 / 2.4) - 0.055;
      gl.scissor(box.left, height - box.top - box.height, box.width, box.height);
      gl.clearColor(grey, grey, grey, 1);
      gl.clear(gl.COLOR_BUFFER_BIT);
    }
    if (!this.programs[shot.option]) { return; }
    option.faces.forEach(function (face, i) {
      if (shot.only !== null && shot.only !== i) { return; }
      const left = shot.left + face.left * shot.scale, top = shot.top + face.top * shot.scale;
      const x0 = Math.max(box.left, Math.floor(left)), y0 = Math.max(box.top, Math.floor(top));
      const x1 = Math.min(box.left + box.width, Math.ceil(left + face.width * shot.scale));
      const y1 = Math.min(box.top + box.height, Math.ceil(top + face.height * shot.scale));
      if (x1 > x0 && y1 > y0) {
        gl.scissor(x0, height - y1, x1 - x0, y1 - y0);
        this.drawFace(shot, option, face, this.programs[shot.option][i], left, top);
      }
    }, this);
  };

  Painter.prototype.drawFace = function (shot, option, face, made, left, top) {
    const gl = this.gl, w = made.where;
    const view = this.textures[face.views[shot.view].texture] ? face.views[shot.view] : face.views[0];
    const set = this.numbers(shot.option, shot.light, shot.view, face.kind);
    const factors = new Float32Array(4 * Film.quadsOf(option.coats.length));
    factors.set(shot.factors);
    const shares = new Float32Array(factors.length);
    if (face.soak) { shares.set(Film.sharesOf(face.soak, shot.factors.coats)); }
    gl.useProgram(made.program);
    const pictures = [[view.texture, "uBase"], [face.cover, "uCover"], [face.builds.texture, "uBuilds"]];
    if (face.soak) { pictures.push([face.soak.texture, "uSoak"]); }
    if (face.seats) { pictures.push([face.seats.colours[shot.light], "uSeats"], [face.seats.share, "uSeatShare"]); }
    pictures.forEach(function (pair, unit) {
      gl.activeTexture(gl.TEXTURE0 + unit);
      gl.bindTexture(gl.TEXTURE_2D, this.textures[pair[0]]);
      if (w[pair[1]]) { gl.uniform1i(w[pair[1]], unit); }
    }, this);
    const places = face.builds.places;
    if (w.uPlace) {
      gl.uniform4fv(w.uPlace, [].concat.apply([], places.map(function (p) { return p.slice(0, 4); })));
      gl.uniform2fv(w.uStep, [].concat.apply([], places.map(function (p) { return [p[4], p[5] / 4095]; })));
    }
    const plain = {
      uScale: shot.scale, uTop: this.canvas.height, uGain: view.scale, uSoakLow: face.soak ? face.soak.low : 1, uSoakHigh: face.soak ? face.soak.high : 1,
      uVeil: set.veil, uSurround: option.surround, uFade: shot.fade,
      uStripe: 7 * Math.max(1, Math.round(window.devicePixelRatio)),
    };
    Object.keys(plain).forEach(function (name) { if (w[name]) { gl.uniform1f(w[name], plain[name]); } });
    if (w.uPaths) {
      gl.uniform3fv(w.uPaths, [].concat.apply([], view.paths.by_gain));
      gl.uniform1f(w.uPathTop, view.paths.top);
    }
    gl.uniform2f(w.uSize, face.width, face.height);
    gl.uniform2f(w.uOrigin, left, top);
    Film.set(gl, w, set);
    gl.uniform1i(w.uMode, shot.mode);
    const m = this.wide ? this.data.p3 : [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
    gl.uniformMatrix3fv(w.uScreen, true, [].concat.apply([], m));
    [["uFactor", factors], ["uShare", shares]].forEach(function (pair) {
      if (w[pair[0]]) { gl.uniform4fv(w[pair[0]], pair[1]); }
    });
    if (shot.fade < 1) {
      gl.enable(gl.BLEND);
      gl.blendFuncSeparate(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA, gl.ZERO, gl.ONE);
    }
    gl.drawArrays(gl.TRIANGLES, 0, 3);
    gl.disable(gl.BLEND);
  };

  /* Wait until everything drawn so far has been. */
  Painter.prototype.finish = function () {
    this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, new Uint8Array(4));
  };

  /* Share of the part whose colour this screen cannot show, looked at in a small copy. */
  Painter.prototype.shareOutside = function (box, shot) {
    const gl = this.gl, pixels = new Uint8Array(box.width * box.height * 4);
    this.draw(box, shot);
    gl.readPixels(box.left, this.canvas.height - box.top - box.height, box.width, box.height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
    let part = 0, outside = 0;
    for (let i = 0; i < pixels.length; i += 4) {
      part += pixels[i] > 127;
      outside += pixels[i + 1] > 127;
    }
    return part ? outside / part : 0;
  };

  return Painter;
})();
