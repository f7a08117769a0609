/*
 * What a hand makes of the part, over the picture: every coat's build times the hand's factor, or a plain map of where that
 * shows. The numbers come as output/live_laid.py has them.
 */
const LiveLaid = (function () {
  "use strict";
  /* Of a Live.Solid. */
  const methods = {};

  /* The texture of a face, and where a skin's places lie on it: times and plus. */
  const PLACE = ["uniform sampler2DArray uLaid;", "uniform vec4 uLaidAt;"].join("\n");

  /* Each layer's build times what the hand makes of it. */
  const BUILDS = "    for (int q = 0; q < QUADS; q++) b[q] *= textureLod(uLaid, vec3(unpackUnorm2x16(one.z) * uLaidAt.xy + uLaidAt.zw, float(q)), 0.0);";

  /* The greys of how visible a difference is, and the two of the stripes over what is not judged. */
  const STEPS = [0.1, 0.62, 1.0], NOT_JUDGED = [0.3, 0.42], STRIPE_PX = 8;

  /* The shader of one skin as a plain map: where it shows how a hand lays it. `told` has the steps of how visible. */
  function mapShader(told) {
    const layers = told.layers, at = function (n) { return "numbers" + Math.floor(n / 4) + "[" + (n % 4) + "]"; };
    const quads = Array.from(new Set([Math.floor(layers / 4), Math.floor((layers + 1) / 4)]));
    return [
      LivePaint.WALL,
      Film.screen(Film.NOT_ROLLED),
      PLACE,
      "uniform float uStripe;",
      "void main() {",
      "  ivec2 at = ivec2(gl_FragCoord.xy);",
      "  uvec4 one = texelFetch(uOne, at, 0);",
      "  uint share = texelFetch(uTwo, at, 0).w >> 16;",
      "  vec2 uv = unpackUnorm2x16(one.z) * uLaidAt.xy + uLaidAt.zw;",
      quads.map(function (q) { return "  vec4 numbers" + q + " = textureLod(uLaid, vec3(uv, " + q + ".0), 0.0);"; }).join("\n"),
      "  float grey = fract((gl_FragCoord.x + gl_FragCoord.y) / uStripe) < 0.5 ? " + NOT_JUDGED.map(Film.float).join(" : ") + ";",
      "  if (" + at(layers + 1) + " > 0.5) {",
      told.steps.map(function (step, k) { return "    if (" + at(layers) + " >= " + Film.float(step.from_de00) + ") grey = " + Film.float(STEPS[k]) + ";"; }).join("\n"),
      "  }",
      "  outColour = vec4(mix(encoded(vec3(wall())), vec3(grey), float(share) / 65535.0), 1.0);",
      "}",
    ].join("\n");
  }

  /*
   * Take what a hand makes of the part (the faces of output/live_laid.py, and its steps of how visible), to be shown with
   * { overlay: "laid" } or, as a plain map, { overlay: "shown" }; null forgets it.
   */
  methods.lay = async function (told, fetchBytes) {
    const gl = this.gl, found = {}, before = this.laid;
    this.laying = told;
    if (told) {
      await Promise.all(told.faces.map(async function (face) {
        const bytes = await fetchBytes(face.texture.hash);
        if (!gl.isContextLost()) { found[face.name] = { told: face, texture: LiveGl.texture(gl, face.texture, bytes) }; }
      }));
    }
    const stays = this.laying === told && !gl.isContextLost(), gone = stays ? before && before.faces : found;
    Object.values(gone || {}).forEach(function (face) { gl.deleteTexture(face.texture.texture); });
    if (stays) { this.laid = told && { faces: found, layers: told.faces[0].layers, steps: told.steps }; }
    this.version = {};
  };

  /* Whether what a hand makes of the part fits the coats that are shown. */
  methods.isLaid = function () { return Boolean(this.laid && this.data && this.laid.layers === this.data.coats.length); };

  /* The programs of what a hand makes of the part, made when they are first wanted. */
  methods.laidProgram = function (i) {
    const made = this.scene.laid;
    made[i] = made[i] || this.programs.of(LivePaint.shader(this.data, i, this.scene.nodes[i], true));
    return made[i];
  };

  methods.mapProgram = function () {
    this.laid.map = this.laid.map || this.programs.of(mapShader(this.laid));
    return this.laid.map;
  };

  /* Lay it over a skin: binds its texture, and gives whether there is one. */
  methods.laidOver = function (skin, bound, values) {
    const laid = this.isLaid() ? this.laid.faces[skin.name] : null;
    if (!laid) { return false; }
    const wide = laid.texture.width * laid.told.pixel_mm, tall = laid.texture.height * laid.told.pixel_mm;
    bound.uLaid = laid.texture;
    values.uLaidAt = [skin.size_mm[0] / wide, skin.size_mm[1] / tall, -laid.told.left_mm / wide, -laid.told.top_mm / tall];
    values.uStripe = STRIPE_PX * this.canvas.width / Math.max(1, this.canvas.clientWidth) / this.seenAt.rough;
    return true;
  };

  return { PLACE: PLACE, BUILDS: BUILDS, STEPS: STEPS, methods: methods };
})();
