/*
 * The film's sum, shared by every live picture: pieces of shaders, their numbers, and the same formula for one spot.
 * The same as finish/engine.py, film/curves.py and colour/screen.py: when they change, this changes in the same commit.
 */
const Film = (function () {
  "use strict";
  /* Oklab (B. Ottosson, 2020), column by column. */
  const RGB_TO_CONE = [0.4122214708, 0.2119034982, 0.0883024619, 0.5363325363, 0.6806995451, 0.2817188376, 0.0514459929, 0.1073969566, 0.6299787005];
  const CONE_TO_OKLAB = [0.2104542553, 1.9779984951, 0.0259040371, 0.7936177850, -2.4285922050, 0.7827717662, -0.0040720468, 0.4505937099, -0.8086757660];
  const OKLAB_TO_CONE = [1.0, 1.0, 1.0, 0.3963377774, -0.1055613458, -0.0894841775, 0.2158037573, -0.0638541728, -1.2914855480];
  const CONE_TO_RGB = [4.0767416621, -1.2684380046, -0.0041960863, -3.3077115913, 2.6097574011, -0.7034186147, 0.2309699292, -0.3413193965, 1.7076147010];
  const HARDLY_SEEN = 1 / 4096, HALVINGS = 10, SLACK = 0.01;
  const NOT_ROLLED = 1;

  function float(value) {
    const text = String(value);
    return /[.e]/.test(text) ? text : text + ".0";
  }

  function mat3(matrix) { return "mat3(" + matrix.map(float).join(", ") + ")"; }

  /* An `if` that is really left: software runs through a plain one whatever it says, but not through a loop of none. */
  function when(condition) { return "for (int once = " + condition + " ? 1 : 0; once > 0; once--) {"; }

  /* The last step to the screen: onScreen and encoded, with highlights bent from an Oklab lightness. Needs uScreen. */
  function screen(rolledFrom) {
    const room = float(NOT_ROLLED - rolledFrom), from = float(rolledFrom);
    return [
      "float curve(float a, vec3 n, vec2 q) {",
      "  return exp2(-a * (n.x + a * (n.y + a * n.z)) / (1.0 + a * (q.x + a * q.y)));",
      "}",
      "vec3 encoded(vec3 c) {",
      "  c = clamp(c, 0.0, 1.0);",
      "  return mix(12.92 * c, 1.055 * pow(max(c, vec3(1e-9)), vec3(1.0 / 2.4)) - 0.055, step(0.0031308, c));",
      "}",
      "vec3 ofOklab(vec3 c) {",
      "  vec3 v = " + mat3(OKLAB_TO_CONE) + " * c;",
      "  return uScreen * (" + mat3(CONE_TO_RGB) + " * (v * v * v));",
      "}",
      "bool within(vec3 c, float slack) {",
      "  return all(greaterThanEqual(c, vec3(-slack))) && all(lessThanEqual(c, vec3(1.0 + slack)));",
      "}",
      /* What is too bright or too colourful keeps its hue: colour/screen.py does the same. */
      "vec3 onScreen(vec3 c) {",
      "  vec3 s = uScreen * c;",
      "  " + when("!within(s, 0.0)" + (rolledFrom < NOT_ROLLED ? " || max(max(c.r, c.g), c.b) > " + float(Math.pow(rolledFrom, 3)) : "")),
      "  c /= sqrt(max(max(max(s.r, s.g), s.b), 1.0));",
      "  vec3 v = " + mat3(RGB_TO_CONE) + " * c;",
      "  vec3 lab = " + mat3(CONE_TO_OKLAB) + " * (sign(v) * pow(abs(v), vec3(1.0 / 3.0)));",
      rolledFrom < NOT_ROLLED
        ? "  lab.x = clamp(lab.x, 0.0, " + from + ") + " + room + " * (1.0 - exp(-max(lab.x - " + from + ", 0.0) / " + room + "));"
        : "  lab.x = clamp(lab.x, 0.0, 1.0);",
      "  s = ofOklab(lab);",
      "  " + when("!within(s, 0.0)"),
      "  float slack = " + float(SLACK) + " * lab.x * lab.x * lab.x, low = 0.0, high = 1.0;",
      "  for (int i = 0; i < " + HALVINGS + "; i++) {",
      "    float middle = 0.5 * (low + high);",
      "    if (within(ofOklab(vec3(lab.x, middle * lab.yz)), slack)) low = middle; else high = middle;",
      "  }",
      "  s = ofOklab(vec3(lab.x, low * lab.yz));",
      "  } }",
      "  return s;",
      "}",
    ].join("\n");
  }

  /* The uniforms of `numbers`, for shaders of up to `nodes` wavelengths. */
  function uniforms(option, nodes) {
    const quads = quadsOf(option.layers), rhoQuads = quadsOf(opaques(option.seen).length);
    return [
      "const int QUADS = " + quads + ";",
      "uniform int uNodes;",
      "uniform vec4 uDensity[" + nodes * quads + "];",
      "uniform vec4 uBasis[" + nodes + "];",
      "uniform vec4 uShow[" + nodes + "];",
      "uniform vec4 uRho[" + nodes * rhoQuads + "];",
      "uniform vec4 uFilm[" + option.seen.length * 3 + "];",
      "uniform float uHiding[" + option.seen.length + "];",
    ].join("\n");
  }

  /*
   * Lines that add to `vec3 rgb` what is seen of a pixel, the topmost opaque coat first: of builds `vec4 b[QUADS]`, of the
   * bare base `vec3 base` or its gain `float grey`. option: layers, seen, tint, paths (`vec3 path`, the numerators of a
   * textured metal's own curve), faces (`vec4 face`, start and numerators where the film leans with a body).
   */
  function sum(option) {
    const seen = option.seen, quads = quadsOf(option.layers), rhoQuads = quadsOf(opaques(seen).length);
    const lines = ["    float visible = 1.0, share;"];
    let opaque = 0;
    seen.forEach(function (s, k) {
      const quad = s.layer === null ? 0 : Math.floor(s.layer / 4);
      if (s.layer === null) {
        lines.push("    share = visible;");
      } else {
        lines.push(
          "    { float left = exp2(-uHiding[" + k + "] * b[" + quad + "][" + (s.layer % 4) + "]);",
          "      share = visible * (1.0 - left); visible *= left; }"
        );
      }
      lines.push("    " + when("share > " + float(HARDLY_SEEN)), "      vec3 sum = vec3(0.0);", "      vec4 m[QUADS];");
      for (let q = 0; q < quads; q += 1) {
        const mask = [0, 1, 2, 3].map(function (j) { return s.dyes.indexOf(4 * q + j) >= 0 ? "1.0" : "0.0"; });
        lines.push("      m[" + q + "] = b[" + q + "] * vec4(" + mask.join(", ") + ");");
      }
      lines.push("      for (int i = 0; i < uNodes; i++) {", "        float a = 0.0;");
      for (let q = 0; q < quads; q += 1) {
        lines.push("        a += dot(uDensity[i * QUADS + " + q + "], m[" + q + "]);");
      }
      const bare = option.tint ? "uBasis[i].w * grey" : "dot(uBasis[i].xyz, base)";
      const first = "uFilm[" + 3 * k + "]", middle = "uFilm[" + (3 * k + 1) + "]", last = "uFilm[" + (3 * k + 2) + "]";
      if (s.metal) {
        lines.push("        float r = curve(a, " + (option.paths ? "path" : first + ".yzw") + ", " + middle + ".xy) * " + bare + ";");
      } else {
        const start = option.faces ? "face" : first;
        if (s.layer === null) {
          lines.push(
            "        float rho = " + bare + ";",
            "        rho /= " + first + ".x + rho * " + last + ".x;"
          );
        } else {
          lines.push("        float rho = uRho[i * " + rhoQuads + " + " + Math.floor(opaque / 4) + "][" + (opaque % 4) + "];");
        }
        lines.push(
          "        float back = 1.0 - rho * " + last + ".x * curve(a, " + last + ".yzw, " + middle + ".zw);",
          "        float r = rho / back * " + start + ".x * curve(a, " + start + ".yzw, " + middle + ".xy);"
        );
      }
      lines.push("        sum += uShow[i].xyz * r;", "      }", "      rgb += share * sum;", "    }");
      if (s.layer !== null) { opaque += 1; }
    });
    return lines.join("\n");
  }

  function quadsOf(count) { return Math.max(1, Math.ceil(count / 4)); }

  function opaques(seen) { return seen.filter(function (s) { return s.layer !== null; }); }

  /* A look's numbers in the order of the uniforms, of a scheme of so many layers. */
  function numbers(look, layers) {
    const quads = quadsOf(layers), n = look.wavelength_nm.length, opaque = opaques(look.seen), rhoQuads = quadsOf(opaque.length);
    const density = new Float32Array(n * quads * 4), rho = new Float32Array(n * rhoQuads * 4);
    const basis = new Float32Array(n * 4), show = new Float32Array(n * 4), film = new Float32Array(look.seen.length * 12);
    for (let i = 0; i < n; i += 1) {
      density.set(look.density2[i], i * quads * 4);
      basis.set(look.basis[i], i * 4);
      basis[i * 4 + 3] = look.tint === null ? 0 : look.tint[i];
      show.set(look.to_display[i], i * 4);
      opaque.forEach(function (s, k) { rho[i * rhoQuads * 4 + k] = s.rho[i]; });
    }
    look.seen.forEach(function (s, k) {
      const c = s.curves[0], d = s.curves[1] || [0, 0, 0, 0, 0, 0];
      film.set([c[0], c[1], c[2], c[3], c[4], c[5], d[4], d[5], d[0], d[1], d[2], d[3]], k * 12);
    });
    return {
      density: density, rho: rho, basis: basis, show: show, film: film, nodes: n, veil: look.veil,
      hiding: new Float32Array(look.seen.map(function (s) { return s.hiding2; })),
    };
  }

  /*
   * The same numbers with dyes at other strengths. `dyes`: {from_nm, step_nm, layers: [null or {mix, absorbance: {dye: [...]}}]};
   * `times`: {mix: {dye: how many times as strong}}. A layer's density is the sum of its dyes', each in its own share.
   */
  function dyed(found, look, dyes, times) {
    const quads = quadsOf(dyes.layers.length), density = new Float32Array(found.density);
    dyes.layers.forEach(function (layer, j) {
      const pulled = layer && times[layer.mix];
      if (!pulled || Object.values(pulled).every(function (t) { return t === 1; })) { return; }
      look.wavelength_nm.forEach(function (nm, i) {
        const at = Math.round((nm - dyes.from_nm) / dyes.step_nm);
        let before = 0, now = 0;
        Object.keys(layer.absorbance).forEach(function (dye) {
          const own = layer.absorbance[dye][at];
          before += own;
          now += own * (pulled[dye] === undefined ? 1 : pulled[dye]);
        });
        if (before > 0) { density[i * quads * 4 + j] *= now / before; }
      });
    });
    return Object.assign({}, found, { density: density });
  }

  /* Set the uniforms of `uniforms`, `where` being their locations by name. */
  function set(gl, where, found) {
    gl.uniform1i(where.uNodes, found.nodes);
    [["uDensity", found.density], ["uBasis", found.basis], ["uShow", found.show], ["uRho", found.rho], ["uFilm", found.film]].forEach(function (pair) {
      if (where[pair[0]]) { gl.uniform4fv(where[pair[0]], pair[1]); }
    });
    if (where.uHiding) { gl.uniform1fv(where.uHiding, found.hiding); }
  }

  /* By how much each layer follows what its base takes more of; hollows fill up from coat to coat: spray/pooling.py. */
  function sharesOf(soak, coats) {
    if (!soak.pools) { return soak.shares; }
    return soak.pools.map(function (pool, i) {
      if (!pool) { return 0; }
      let met = pool.first, sum = 0;
      pool.kept.forEach(function (pair) { met *= Math.pow(pair[1], coats[pair[0]]); });
      for (let k = 0; k < coats[i]; k += 1) { sum += met * Math.pow(pool.own, k); }
      return coats[i] ? sum / coats[i] : 0;
    });
  }

  function curve(a, n0, n1, n2, q1, q2) {
    return Math.pow(2, -a * (n0 + a * (n1 + a * n2)) / (1 + a * (q1 + a * q2)));
  }

  /*
   * Linear RGB of one spot under a look: `bare`, linear RGB of the base with no dye, or [its gain] where the look has a
   * tint; `builds` of the layers; `path`, numerators of the spot's own curve over textured metal, or null.
   */
  function colour(look, bare, builds, path) {
    const rgb = [0, 0, 0];
    let visible = 1;
    look.seen.forEach(function (s) {
      let share = visible;
      if (s.layer !== null) {
        const left = Math.pow(2, -s.hiding2 * builds[s.layer]);
        share = visible * (1 - left);
        visible *= left;
      }
      const c = s.curves[0], k = s.curves[1], own = s.metal && path ? path : c.slice(1, 4);
      for (let i = 0; i < look.wavelength_nm.length && share > 0; i += 1) {
        let a = 0;
        s.dyes.forEach(function (dye) { a += look.density2[i][dye] * builds[dye]; });
        const shown = look.tint === null
          ? look.basis[i][0] * bare[0] + look.basis[i][1] * bare[1] + look.basis[i][2] * bare[2] : look.tint[i] * bare[0];
        let r = curve(a, own[0], own[1], own[2], c[4], c[5]);
        if (s.metal) {
          r *= shown;
        } else {
          const rho = s.layer === null ? shown / (c[0] + shown * k[0]) : s.rho[i];
          r *= c[0] * rho / (1 - rho * k[0] * curve(a, k[1], k[2], k[3], k[4], k[5]));
        }
        for (let j = 0; j < 3; j += 1) { rgb[j] += share * r * look.to_display[i][j]; }
      }
    });
    return rgb.map(function (light) { return light * (1 - look.veil) + look.veil; });
  }

  function times(matrix, v) {
    return [0, 1, 2].map(function (i) { return matrix[i] * v[0] + matrix[i + 3] * v[1] + matrix[i + 6] * v[2]; });
  }

  function within(rgb, slack) { return rgb.every(function (v) { return v >= -slack && v <= 1 + slack; }); }

  function ofOklab(lab) {
    return times(CONE_TO_RGB, times(OKLAB_TO_CONE, lab).map(function (v) { return v * v * v; }));
  }

  /* Linear RGB as the display shows it, 0 to 1; as `screen`. */
  function onScreen(rgb, rolledFrom) {
    const top = Math.max.apply(null, rgb);
    if (within(rgb, 0) && top <= Math.pow(rolledFrom, 3)) { return rgb; }
    const dimmed = rgb.map(function (v) { return v / Math.sqrt(Math.max(top, 1)); });
    const lab = times(CONE_TO_OKLAB, times(RGB_TO_CONE, dimmed).map(Math.cbrt)), over = Math.max(lab[0] - rolledFrom, 0), room = NOT_ROLLED - rolledFrom;
    lab[0] = Math.min(Math.max(lab[0], 0), rolledFrom) + (room ? room * (1 - Math.exp(-over / room)) : 0);
    let low = 0, high = 1;
    const slack = SLACK * Math.pow(lab[0], 3);
    for (let i = 0; i < HALVINGS && !within(ofOklab(lab), 0); i += 1) {
      const middle = 0.5 * (low + high);
      if (within(ofOklab([lab[0], middle * lab[1], middle * lab[2]]), slack)) { low = middle; } else { high = middle; }
      if (i === HALVINGS - 1) { lab[1] *= low; lab[2] *= low; }
    }
    return ofOklab(lab).map(function (v) { return Math.min(Math.max(v, 0), 1); });
  }

  /* Linear RGB as "#rrggbb". */
  function hex(rgb, rolledFrom) {
    return "#" + onScreen(rgb, rolledFrom === undefined ? NOT_ROLLED : rolledFrom).map(function (v) {
      const code = v <= 0.0031308 ? 12.92 * v : 1.055 * Math.pow(v, 1 / 2.4) - 0.055;
      return Math.round(255 * code).toString(16).padStart(2, "0");
    }).join("");
  }

  return {
    when: when, screen: screen, uniforms: uniforms, sum: sum, numbers: numbers, dyed: dyed, set: set, sharesOf: sharesOf, quadsOf: quadsOf, float: float,
    colour: colour, onScreen: onScreen, hex: hex, NOT_ROLLED: NOT_ROLLED,
  };
})();
