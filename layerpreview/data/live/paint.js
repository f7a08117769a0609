/*
 * What is painted over the light that light.js wrote down: builds, the film's sum over its few wavelengths, the mirror
 * image, masked seats, the wall behind. All that is pulled (coats, strengths, widths, lights) is done here.
 */
const LivePaint = (function () {
  "use strict";
  /* Of a Live.Solid. */
  const methods = {};
  const FALLS = { linear: "1.0 - u", soft: "1.0 - u * u * (3.0 - 2.0 * u)", fan: "(1.0 - u * u) * (1.0 - u * u)" };

  /* The wall with the part's shadow: picture/backdrop.py. */
  const WALL = [
    "uniform usampler2D uOne, uTwo;",
    "uniform sampler2D uShadow;",
    "uniform mat3 uScreen;",
    "uniform vec2 uCorner, uWhole, uMoved, uDark;",
    "uniform float uPixel, uTall, uWallLight, uFallOff;",
    "out vec4 outColour;",
    "float wall() {",
    "  vec2 uv = (uCorner + vec2(gl_FragCoord.x, uTall - gl_FragCoord.y) * uPixel) / uWhole, d = uv - vec2(0.42, 0.38);",
    "  float away = clamp(dot(d, d) / 0.6, 0.0, 1.0);",
    "  vec2 moved = uv - uMoved;",
    "  float near = textureLod(uShadow, vec2(uv.x, 1.0 - uv.y), 0.0).r, far = textureLod(uShadow, vec2(moved.x, 1.0 - moved.y), 0.0).g;",
    "  return uWallLight * (1.0 - (1.0 - uFallOff) * away) * (1.0 - uDark.x * near) * (1.0 - uDark.y * far);",
    "}",
  ].join("\n");

  /* The wall, and bare wood inside: what no slider moves. Its depth tells which skin lies where. */
  function ground(data) {
    return [
      WALL,
      Film.screen(data.rolled_from),
      "uniform vec3 uInside;",
      "void main() {",
      "  ivec2 at = ivec2(gl_FragCoord.xy);",
      "  uint told = texelFetch(uTwo, at, 0).w, skin = told & 255u;",
      "  vec3 rgb = vec3(wall());",
      "  if (skin == " + LiveLight.BARE_SKIN + "u) rgb = mix(rgb, uInside * unpackHalf2x16(texelFetch(uOne, at, 0).x).x, float(told >> 16) / 65535.0);",
      "  outColour = vec4(encoded(onScreen(rgb)), 1.0);",
      "  gl_FragDepth = float(skin) / 256.0;",
      "}",
    ].join("\n");
  }

  function channel(number) { return "group" + Math.floor(number / 4) + "[" + (number % 4) + "]"; }

  /* The build of each layer, from channels, factors and widths that are uniforms. */
  function builds(skin) {
    const lines = ["    vec4 b[QUADS];"];
    let burst = 0;
    for (let q = 0; q < Film.quadsOf(skin.layers.length); q += 1) { lines.push("    b[" + q + "] = vec4(0.0);"); }
    skin.layers.forEach(function (layer, i) {
      const at = "[" + Math.floor(i / 4) + "][" + (i % 4) + "]", where = layer.where;
      const parts = [where.channel === null ? Film.float(where.number) : channel(where.channel), "uFactor" + at];
      const falls = layer.bursts.map(function (one) {
        burst += 1;
        return FALLS[one.fall_off].replace(/u/g, "u" + (burst - 1));
      });
      layer.bursts.forEach(function (one, k) {
        const n = burst - layer.bursts.length + k;
        lines.push("    float u" + n + " = clamp(" + channel(one.channel) + " * uPerMm[" + n + "], 0.0, 1.0);");
      });
      if (falls.length) { parts.push("mix(" + falls.map(function (f) { return "(" + f + ")"; }).join(" + ") + ", 1.0, " + Film.float(layer.centre) + ")"); }
      if (layer.pool) { parts.push("(1.0 + uShare" + at + " * " + channel(layer.pool.channel) + ")"); }
      if (where.channel !== null || where.number !== 0) { lines.push("    b" + at + " = " + parts.join(" * ") + ";"); }
    });
    return lines.join("\n");
  }

  /* What is bare at a place: `base` and `grey`. */
  function bare(skin) {
    const light = skin.bare && skin.bare.light;
    const lines = [];
    if (!skin.bare) {
      lines.push("    vec3 base = vec3(gain);");
    } else if (light) {
      lines.push("    vec3 base = gain * vec3(" + (light.length === 1 ? [light[0], light[0], light[0]] : light).map(Film.float).join(", ") + ");");
    } else if (skin.beside) {
      lines.push(
        "    bool side = foreign && (told >> 12 & 3u) == 2u;",
        "    vec3 base = gain * (side ? textureLod(uBeside, unpackUnorm2x16(two.z), 0.0).rgb : textureLod(uBare, uv, 0.0).rgb);"
      );
    } else {
      lines.push("    vec3 base = gain * textureLod(uBare, uv, 0.0).rgb;");
    }
    lines.push("    base = max(base, vec3(1e-5));", "    float grey = base.r;");
    return lines.join("\n");
  }

  /* The shader of one skin, for looks of so many wavelengths; `laid`: as a hand lays it. */
  function shader(data, index, nodes, laid) {
    const skin = data.skins[index], look = data.lights[Object.keys(data.lights)[0]][index].look;
    const option = { layers: skin.layers.length, seen: look.seen, tint: look.tint !== null, paths: Boolean(skin.optics.metal), faces: true };
    const bursts = skin.layers.reduce(function (n, layer) { return n + layer.bursts.length; }, 0);
    const groups = skin.groups.map(function (_, i) { return i; });
    return [
      WALL,
      Film.uniforms(option, nodes),
      Film.screen(data.rolled_from),
      "uniform sampler2D uBare, uBeside" + groups.map(function (i) { return ", uGroup" + i; }).join("") + ";",
      "uniform vec2 uGridScale;",
      "uniform vec4 uFactor[QUADS], uShare[QUADS];",
      "uniform float uPerMm[" + Math.max(1, bursts) + "];",
      "uniform vec3 uSeat[" + Math.max(1, skin.kept.length) + "];",
      laid ? LiveLaid.PLACE : "",
      "void main() {",
      "  ivec2 at = ivec2(gl_FragCoord.xy);",
      "  uvec4 one = texelFetch(uOne, at, 0), two = texelFetch(uTwo, at, 0);",
      "  uint told = two.w;",
      "  bool foreign = (told & " + LiveLight.FOREIGN + "u) != 0u;",
      "  vec2 uv = unpackUnorm2x16(one.z) * uGridScale, first = unpackHalf2x16(one.x);",
      "  float gain = first.x;",
      "  vec3 path = vec3(first.y, unpackHalf2x16(one.y));",
      "  vec4 face = vec4(unpackHalf2x16(two.x), unpackHalf2x16(two.y));",
      groups.map(function (i) { return "  vec4 group" + i + " = textureLod(uGroup" + i + ", uv, 0.0);"; }).join("\n"),
      "  vec3 rgb = vec3(0.0);",
      "  {",
      bare(skin),
      builds(skin),
      laid ? LiveLaid.BUILDS : "",
      Film.sum(option),
      "  }",
      "  float coated = 1.0;",
      skin.kept.length ? "  if (!foreign) {" : "",
      skin.kept.map(function (kept, k) {
        const share = channel(kept);
        return "    rgb += " + share + " * (uSeat[" + k + "] * face.x / " + Film.float(skin.optics.ahead[0]) + " - rgb); coated -= " + share + ";";
      }).join("\n"),
      skin.kept.length ? "  }" : "",
      "  rgb += coated * unpackHalf2x16(one.w).x;",
      "  uint share = told >> 16;",
      "  " + Film.when("share < 65535u"),
      "    rgb = mix(vec3(wall()), rgb, float(share) / 65535.0);",
      "  }",
      "  outColour = vec4(encoded(onScreen(rgb)), 1.0);",
      "}",
    ].join("\n");
  }

  /* Textures that every skin's program reads (light, shadow, what a hand makes), and uniforms beside those that are counted. */
  const OWN_TEXTURES = 4, OWN_VECTORS = 24;

  /* Whether the programs of every skin find enough textures and uniforms on a chip. */
  function fits(gl, data) {
    const units = gl.getParameter(gl.MAX_TEXTURE_IMAGE_UNITS), vectors = gl.getParameter(gl.MAX_FRAGMENT_UNIFORM_VECTORS);
    return data.skins.every(function (skin, i) {
      const quads = Film.quadsOf(skin.layers.length), bursts = skin.layers.reduce(function (n, layer) { return n + layer.bursts.length; }, 0);
      const textures = OWN_TEXTURES + skin.groups.length + (skin.bare && skin.bare.texture ? 1 : 0) + (skin.beside ? 1 : 0);
      return textures <= units && Object.values(data.lights).every(function (looks) {
        const look = looks[i].look, seen = look.seen.length, nodes = look.wavelength_nm.length;
        return nodes * (quads + 2 + Film.quadsOf(seen)) + 4 * seen + 2 * quads + bursts + skin.kept.length + OWN_VECTORS <= vectors;
      });
    });
  }

  /* What the sliders say of a skin: factors of the layers, how each gathers, widths of its bursts. */
  function pulled(data, index, state) {
    const skin = data.skins[index], count = 4 * Film.quadsOf(skin.layers.length);
    const factors = new Float32Array(count), shares = new Float32Array(count), perMm = [];
    const coats = state.coats || data.coats;
    const own = Film.sharesOf({ pools: skin.layers.map(function (layer) { return layer.pool && layer.pool.share; }) }, coats);
    skin.layers.forEach(function (layer, i) {
      const factor = state.factors ? state.factors[i] : 1;
      factors[i] = state.upTo !== null && i > state.upTo ? 0 : factor;
      shares[i] = layer.pool && !layer.pool.share ? 1 : own[i];
      layer.bursts.forEach(function (burst) {
        const width = state.widths && state.widths[i + "," + burst.number];
        perMm.push(1 / (width || burst.width_mm));
      });
    });
    return { factors: factors, shares: shares, perMm: new Float32Array(perMm.length ? perMm : [0]) };
  }

  /* Half of the shadow's blur: along one axis, narrow and wide. */
  function blurShader() {
    return [
      "uniform sampler2D uCover;",
      "uniform vec2 uAlong, uSigma;",
      "out vec4 outColour;",
      "float blurred(float sigma, int part) {",
      "  vec2 size = vec2(textureSize(uCover, 0));",
      "  float total = 0.0, weight = 0.0, step_ = sigma > 6.0 ? 2.0 : 1.0;",
      "  int reach = int(ceil(3.0 * sigma / step_));",
      "  for (int i = -reach; i <= reach; i++) {",
      "    float away = (float(i) + (step_ > 1.0 ? 0.5 / step_ : 0.0)) * step_, w = exp(-0.5 * away * away / (sigma * sigma));",
      "    total += w * textureLod(uCover, (gl_FragCoord.xy + away * uAlong) / size, 0.0)[part];",
      "    weight += w;",
      "  }",
      "  return total / weight;",
      "}",
      "void main() { outColour = vec4(blurred(uSigma.x, 0), blurred(uSigma.y, 1), 0.0, 1.0); }",
    ].join("\n");
  }

  function coverShader(solid) {
    return [
      LiveBody.pieces(solid.body),
      "out vec4 outColour;",
      "void main() { vec3 best; float share = traced(best); if (share <= 0.0) discard; outColour = vec4(share, share, 0.0, 1.0); }",
    ].join("\n");
  }

  /* How what was written down is painted: `begin` makes a program of paint.js ready, with textures and numbers of its own. */
  methods.painter = function () {
    const gl = this.gl, self = this, d = this.data, view = this.seenAt;
    const shared = {
      uCorner: view.corner, uWhole: this.shadow.whole, uMoved: this.shadow.moved, uDark: [d.wall.near_dark, d.wall.far_dark], uPixel: view.pixel, uTall: view.tall,
      uWallLight: d.wall.light, uFallOff: d.wall.fall_off,
    };
    const screen = this.wide ? d.p3 : [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
    const light = { uOne: this.light.textures[0], uTwo: this.light.textures[1], uShadow: this.shadow.targets[0].textures[0] };
    return function (made, textures, values) {
      const where = self.programs.use(made);
      LiveGl.bind(gl, where, Object.assign({}, light, textures));
      LiveGl.uniforms(gl, where, Object.assign({}, shared, values));
      gl.uniformMatrix3fv(where.uScreen, true, [].concat.apply([], screen));
      return where;
    };
  };

  /* Draw all that no slider moves, wall and bare wood: it stays below every frame. */
  methods.writeGround = function (band) {
    const gl = this.gl;
    this.painter()(this.scene.ground, {}, { uInside: this.data.inside.rgb_lin });
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.ALWAYS);
    gl.depthMask(true);
    gl.depthRange(0, 1);
    LiveGl.fill(gl, this.shown, [0, band[0], this.shown.width, band[1] - band[0]]);
    gl.disable(gl.DEPTH_TEST);
  };

  /* Paint the skins over what was written down, from column `left` to `right` in a band of rows, as a state has them. */
  methods.paint = function (state, left, right, band) {
    const gl = this.gl, self = this, d = this.data, view = this.seenAt, w = this.shown.width, h = this.shown.height, begin = this.painter();
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.EQUAL);
    gl.depthMask(false);
    d.skins.forEach(function (skin, i) {
      const solid = d.solids[skin.solid], turn = self.turnOf(solid), kinds = Object.keys(solid.skins).filter(function (kind) { return solid.skins[kind] === i; });
      const front = kinds.indexOf("0") >= 0 && solid.skins[2] === undefined;
      const seen = front || kinds.some(function (kind) { return LiveBody.seen(solid.body, Number(kind), turn); });
      const box = seen ? LiveWrite.inBand(LiveWrite.boxOf(solid, turn, view, w, h), band) : null;
      const from = box && Math.max(box[0], left), to = box && Math.min(box[0] + box[2], right);
      if (!box || to <= from) { return; }
      self.paintSkin(begin, skin, i, state);
      gl.depthRange((i + 1) / 256, (i + 1) / 256);
      LiveGl.fill(gl, self.shown, [from, box[1], to - from, box[3]]);
    });
    gl.disable(gl.DEPTH_TEST);
  };

  methods.paintSkin = function (begin, skin, i, state) {
    const gl = this.gl, textures = this.textures, bound = {}, own = pulled(this.data, i, state), grid = skin.grid;
    const values = { uGridScale: [skin.size_mm[0] / (grid.width * grid.pixel_mm), skin.size_mm[1] / (grid.height * grid.pixel_mm)] };
    skin.groups.forEach(function (group, k) { bound["uGroup" + k] = textures[group.hash]; });
    if (skin.bare && skin.bare.texture) { bound.uBare = textures[skin.bare.texture.hash]; }
    if (skin.beside) { bound.uBeside = textures[skin.beside.texture.hash]; }
    const laid = state.overlay ? this.laidOver(skin, bound, values) : false;
    if (laid && state.overlay === "shown") { begin(this.mapProgram(), bound, values); return; }
    const where = begin(laid ? this.laidProgram(i) : this.scene.skins[i], bound, values);
    const numbers = this.scene.numbers[state.light][i], look = this.data.lights[state.light][i].look;
    Film.set(gl, where, state.strengths ? Film.dyed(numbers, look, this.data.dyes, state.strengths) : numbers);
    if (where.uFactor) { gl.uniform4fv(where.uFactor, own.factors); }
    if (where.uShare) { gl.uniform4fv(where.uShare, own.shares); }
    if (where.uPerMm) { gl.uniform1fv(where.uPerMm, own.perMm); }
    if (where.uSeat) { gl.uniform3fv(where.uSeat, [].concat.apply([], this.data.lights[state.light][i].seats)); }
  };

  /* Paint over what is written down: one state, or two side by side. */
  methods.paintBoth = function (band) {
    const state = this.state, width = this.shown.width, split = state.compare ? Math.round(width * state.compare.divider) : width;
    if (split > 0) { this.paint(state, 0, split, band); }
    if (split < width) { this.paint(Object.assign({}, state, state.compare), split, width, band); }
  };

  methods.paintAll = function () {
    this.paintBoth([0, this.shown.height]);
    this.room.painted = this.version;
  };

  return { methods: methods, WALL: WALL, fits: fits, ground: ground, shader: shader, blurShader: blurShader, coverShader: coverShader };
})();
