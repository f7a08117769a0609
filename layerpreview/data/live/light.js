/*
 * The light of what a ray meets: the base's law for how film and facets lie there, and the clear's mirror image, written
 * down for each pixel of the canvas: picture/solid_light.py in a shader. Coats and strengths have no part in it.
 */
const LiveLight = (function () {
  "use strict";
  const KINDS = ["FRONT", "BACK", "SIDE"], FRONT = 0, SIDE = 2, BARE_SKIN = 255, FOREIGN = 256;
  const LEAST_GAIN = "1e-5";

  const COMMON = [
    "layout(location = 0) out uvec4 outOne;",
    "layout(location = 1) out uvec4 outTwo;",
    "uniform sampler2D uFace;",
    "uniform sampler2DArray uMirror;",
    "uniform float uFilmsReach, uFilms, uMirrorReach, uLeastFacing, uSampleMm, uDarkOver;",
    "uniform float uBlurs[BLURS];",
    "uniform int uMostSamples;",
    "struct Spot { vec3 normal, across, down; };",
    "vec2 onDisc(vec3 n) { return n.xy * sqrt(2.0 / max(1.0 + n.z, 1e-3)); }",
    /* A place on the table of films: its lower left one, and how far on. */
    "vec4 filmAt(vec3 n) {",
    "  vec2 scaled = (clamp(onDisc(n), -uFilmsReach, uFilmsReach) + uFilmsReach) * (uFilms - 1.0) / (2.0 * uFilmsReach);",
    "  vec2 low = min(floor(scaled), uFilms - 2.0);",
    "  return vec4(low, scaled - low);",
    "}",
    "vec4 faceLaw(vec4 f) {",
    "  ivec2 i = ivec2(f.xy);",
    "  vec4 upper = mix(texelFetch(uFace, i, 0), texelFetch(uFace, i + ivec2(1, 0), 0), f.z);",
    "  vec4 lower = mix(texelFetch(uFace, i + ivec2(0, 1), 0), texelFetch(uFace, i + ivec2(1, 1), 0), f.z);",
    "  return mix(upper, lower, f.w);",
    "}",
    "float mirrorAt(vec3 n, float spread) {",
    "  float count = float(textureSize(uMirror, 0).x);",
    "  vec2 place = ((onDisc(n) + uMirrorReach) / (2.0 * uMirrorReach) * (count - 1.0) + 0.5) / count;",
    "  int low = 0;",
    "  for (int i = 1; i < BLURS - 1; i++) if (spread >= uBlurs[i]) low = i;",
    "  float share = clamp((spread - uBlurs[low]) / (uBlurs[low + 1] - uBlurs[low]), 0.0, 1.0);",
    "  return mix(textureLod(uMirror, vec3(place, float(low)), 0.0).r, textureLod(uMirror, vec3(place, float(low + 1)), 0.0).r, share);",
    "}",
    /* A third of the way from the eye to the film's normal, from where facets are counted: film/body_law.py. */
    "vec3 countedFrom(vec3 film) {",
    "  float across = length(film.xy), third = atan(across, film.z) * (1.0 / 3.0);",
    "  return vec3(film.xy * (sin(third) / max(across, 1e-9)), cos(third));",
    "}",
    "vec3 counted(vec3 facet, vec3 axis) {",
    "  vec3 both = axis + vec3(0.0, 0.0, 1.0), v = facet - both * (dot(both, facet) / (1.0 + axis.z));",
    "  return vec3(v.xy, v.z + 2.0 * dot(axis, facet));",
    "}",
    "vec4 lawAt(mediump sampler2DArray law, vec2 place, vec4 f, vec2 table) {",
    "  place = ((clamp(place, -table.y, table.y) + table.y) / (2.0 * table.y) * (table.x - 1.0) + 0.5) / table.x;",
    "  float first = f.y * uFilms + f.x;",
    "  vec4 upper = mix(textureLod(law, vec3(place, first), 0.0), textureLod(law, vec3(place, first + 1.0), 0.0), f.z);",
    "  vec4 lower = mix(textureLod(law, vec3(place, first + uFilms), 0.0), textureLod(law, vec3(place, first + uFilms + 1.0), 0.0), f.z);",
    "  return mix(upper, lower, f.w);",
    "}",
    "float folded(float x, float wide) { return wide - abs(mod(x, 2.0 * wide) - wide); }",
    "uint halves(float x, float y) { return packHalf2x16(clamp(vec2(x, y), -65000.0, 65000.0)); }",
  ].join("\n");

  /* What is looked at of the textures of skin `i`: slopes, and what flashes. */
  function lookups(skin, i) {
    const light = skin.surface.flashes
      ? "  return vec4(textureLod(uSlopes" + i + ", uv, 0.0).rg, dot(textureLod(uLight" + i + ", uv, 0.0).rg, vec2(255.0, 1.0)) * uLightTop" + i + " / 255.0, 0.0);"
      : "  return vec4(textureLod(uSlopes" + i + ", uv, 0.0).rg, 1.0, 0.0);";
    return [
      "uniform sampler2D uSlopes" + i + ", uLight" + i + ";",
      "uniform float uLightTop" + i + ", uStepMm" + i + ";",
      "vec4 facetAt" + i + "(vec2 mm) {",
      "  vec2 uv = mm / uStepMm" + i + " / vec2(textureSize(uSlopes" + i + ", 0));",
      light,
      "}",
      /* The law's numbers of textured metal, the mean of all that is looked at in a pixel. */
      "vec4 facets" + i + "(Met m, vec4 film, vec2 mm) {",
      "  vec3 axis = countedFrom(m.normal);",
      "  int count = min(uMostSamples, max(1, int(ceil(uPixel / uSampleMm))));",
      "  vec2 steep = m.normal.xy / max(m.normal.z, uLeastFacing);",
      "  vec4 total = vec4(0.0);",
      "  for (int i = 0; i < count * count; i++) {",
      "    vec2 off = ((vec2(float(i % count), float(i / count)) + 0.5) / float(count) - 0.5) * uPixel;",
      "    if (count == 1) off = vec2(0.0);",
      "    vec3 way = vec3(off, -dot(steep, off));",
      "    vec4 f = facetAt" + i + "(mm + vec2(dot(way, m.across), dot(way, m.down)));",
      "    vec3 facet = normalize(m.normal - f.x * m.across - f.y * m.down);",
      "    total += lawAt(uLaw" + i + ", onDisc(counted(facet, axis)), film, uTable" + i + ") * f.z;",
      "  }",
      "  return total / float(count * count);",
      "}",
    ].join("\n");
  }

  function flat(i) {
    return [
      "vec4 facets" + i + "(Met m, vec4 film, vec2 mm) {",
      "  return lawAt(uLaw" + i + ", onDisc(counted(m.normal, countedFrom(m.normal))), film, uTable" + i + ");",
      "}",
    ].join("\n");
  }

  /* What is done for one kind of what is met; a side or a back that no face describes goes on as the front is. */
  function branch(data, solid, kind) {
    const own = solid.skins[kind] !== undefined, i = own ? solid.skins[kind] : solid.skins[FRONT], skin = data.skins[i];
    const lines = ["  " + Film.when("m.kind == " + KINDS[kind])];
    lines.push("    skin = " + (i + 1) + "u" + (own ? "" : " | " + FOREIGN + "u") + ";");
    lines.push("    vec2 mm = " + (own ? "m.on" : "m.at") + ", size = uSkinSize" + i + ";");
    if (skin.surface && skin.clear_lean) {
      lines.push("    vec2 slope = facetAt" + i + "(m.on).xy * " + Film.float(skin.clear_lean) + ";");
      lines.push("    clear = normalize(m.normal - slope.x * m.across - slope.y * m.down);");
    }
    lines.push("    places = mm / size;");
    lines.push("    bare = " + (kind === SIDE && !own && skin.beside ? "m.on / uBesideSize" + i : "places") + ";");
    if (skin.optics.metal) {
      if (skin.surface && kind === SIDE && !own) { lines.push("    mm = vec2(folded(m.on.x, size.x), m.on.y);"); }
      lines.push("    vec4 v = facets" + i + "(m, film, mm);");
      lines.push("    path = v.yzw / max(v.x, " + LEAST_GAIN + ");");
      const gain = skin.surface ? "v.x" : skin.photo ? "face.x / " + Film.float(skin.optics.ahead[0]) : "v.x / " + Film.float(skin.optics.level);
      lines.push("    gain = " + gain + ";");
    }
    lines.push("  }");
    return lines.join("\n");
  }

  function shader(data, solid) {
    const used = Array.from(new Set(Object.values(solid.skins)));
    const metals = used.filter(function (i) { return data.skins[i].optics.metal; });
    return [
      "const int BLURS = " + data.mirror.blurs.length + ";",
      LiveBody.pieces(solid.body),
      COMMON,
      used.map(function (i) { return "uniform vec2 uSkinSize" + i + ", uBesideSize" + i + ";"; }).join("\n"),
      metals.map(function (i) {
        return "uniform sampler2DArray uLaw" + i + ";\nuniform vec2 uTable" + i + ";\n" + (data.skins[i].surface ? lookups(data.skins[i], i) : flat(i));
      }).join("\n"),
      "void main() {",
      "  vec3 best;",
      "  float share = traced(best);",
      "  if (share <= 0.0) discard;",
      "  " + Film.when("share > 0.0"),
      "  Met m = met(best, share);",
      "  m.normal = uTurn * m.normal; m.across = uTurn * m.across; m.down = uTurn * m.down;",
      "  vec4 film = filmAt(m.normal), face = faceLaw(film);",
      "  vec3 clear = m.normal, path = vec3(0.0);",
      "  float gain = 1.0;",
      "  uint skin = " + BARE_SKIN + "u;",
      "  vec2 places = vec2(0.0), bare = vec2(0.0);",
      KINDS.map(function (_, kind) { return branch(data, solid, kind); }).join("\n"),
      "  float mirrored = 0.0;",
      "  if (m.kind == BARE) {",
      "    gain = face.x * exp(-m.depth / uDarkOver);",
      "    places = m.at / uSkinSize" + solid.skins[FRONT] + ";",
      "    bare.x = " + data.solids.indexOf(solid) + ".0 / 65535.0;",
      "  }",
      "  else mirrored = mirrorAt(clear, m.bend * uPixel / max(m.normal.z, uLeastFacing));",
      "  outOne = uvec4(halves(max(gain, " + LEAST_GAIN + "), path.x), halves(path.y, path.z), packUnorm2x16(places), halves(mirrored, 0.0));",
      "  vec3 numerators = face.yzw / face.x;",
      "  outTwo = uvec4(halves(face.x, numerators.x), halves(numerators.y, numerators.z), packUnorm2x16(bare), (uint(round(share * 65535.0)) << 16) | (uint(m.kind) << 12) | skin);",
      "  }",
      "}",
    ].join("\n");
  }

  /* The light of flakes and glitter at each place of a texture, for a turn of the part: surface/glints.py. */
  function flashesShader(surface) {
    const lines = [
      "uniform usampler2D uNumbers;",
      "uniform sampler2D uGain;",
      "uniform float uPhase, uTop;",
      "out vec4 outLight;",
      "float movedOn(float n) { return fract(n + uPhase); }",
      "void main() {",
      "  ivec2 at = ivec2(gl_FragCoord.xy);",
      "  vec2 n = vec2(texelFetch(uNumbers, at, 0).rg) / 65536.0;",
      "  float light = " + Film.float(surface.flashes.scale) + ";",
    ];
    const flake = surface.flashes.flake, glitter = surface.flashes.glitter;
    if (surface.gain) { lines.push("  light *= texelFetch(uGain, at, 0).r;"); }
    if (flake) {
      lines.push("  light *= " + Film.float(1 - flake.depth) + " + " + Film.float(flake.depth / flake.mean) +
        " * pow(max(1.0 - movedOn(n.x), " + Film.float(flake.rarest) + "), " + Film.float(-flake.tail) + ");");
    }
    if (glitter) {
      const often = Film.float(glitter.often), bright = (1 - glitter.dull) / glitter.flashing + glitter.dull;
      lines.push("  if (n.y < " + often + ") light *= 1.0 + " + Film.float(glitter.depth) + " * ((movedOn(n.y / " + often + ") < " +
        Film.float(glitter.flashing) + " ? " + Film.float(bright) + " : " + Film.float(glitter.dull) + ") - 1.0);");
    }
    lines.push("  float code = clamp(light / uTop, 0.0, 1.0) * 255.0;", "  outLight = vec4(floor(code) / 255.0, fract(code), 0.0, 1.0);", "}");
    return lines.join("\n");
  }

  /* The brightest that a place can flash. */
  function brightest(surface) {
    const f = surface.flashes, flake = f.flake, glitter = f.glitter;
    const flakes = flake ? 1 - flake.depth + flake.depth / flake.mean * Math.pow(flake.rarest, -flake.tail) : 1;
    const flash = glitter ? 1 + glitter.depth * ((1 - glitter.dull) / glitter.flashing + glitter.dull - 1) : 1;
    return f.scale * flakes * flash * (surface.gain ? surface.gain_top : 1);
  }

  return { shader: shader, flashesShader: flashesShader, brightest: brightest, BARE_SKIN: BARE_SKIN, FOREIGN: FOREIGN };
})();
