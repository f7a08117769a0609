/* Where a pixel's ray meets a solid, and how its surface lies there: surface/body.py, plate.py and shell.py in a shader. */
const LiveBody = (function () {
  "use strict";
  const THROUGH_MM = "1e4";

  const COMMON = [
    "const int FRONT = 0, BACK = 1, SIDE = 2, BARE = 3;",
    "uniform mat3 uTurn;",
    "uniform vec3 uMiddle, uLow, uHigh, uSize;",
    "uniform vec2 uAt, uCorner;",
    "uniform float uPixel, uTall, uReach, uStride, uArrived;",
    "uniform int uSteps;",
    "struct Met { float share; int kind; vec2 on; vec2 at; vec3 normal, across, down; float depth, bend; };",
    "vec3 unit(vec3 v) { return v / max(length(v), 1e-9); }",
    "vec3 laidOn(vec3 v, vec3 n) { return unit(v - n * dot(v, n)); }",
  ].join("\n");

  const PLATE = [
    "uniform sampler2D uNear, uRest, uSlopes;",
    "uniform vec4 uLattice;",
    "uniform vec2 uBellies;",
    "uniform float uEdge, uOpeningEdge, uRing;",
    "struct Shape { float inside, dome, opening, ground; };",
    "vec2 onLattice(vec3 p) { return (p.xy - uLattice.xy) / uLattice.z; }",
    "vec4 lattice(sampler2D t, vec3 p) { return texture(t, (onLattice(p) + 0.5) / vec2(textureSize(t, 0))); }",
    "float sunk(vec3 p, float ground) { return ground > 0.0 ? -p.z : p.z + uSize.z; }",
    "Shape shapeAt(vec3 p) {",
    "  vec4 v = textureLod(uNear, (onLattice(p) + 0.5) / vec2(textureSize(uNear, 0)), 0.0);",
    "  Shape s = Shape(v.x, v.y, v.z, v.w);",
    "  " + Film.when("abs(v.w) < " + THROUGH_MM + " && sunk(p, v.w) >= abs(v.w)"),
    "    s = Shape(textureLod(uRest, (onLattice(p) + 0.5) / vec2(textureSize(uRest, 0)), 0.0).x, v.y, 0.0, " + THROUGH_MM + ");",
    "  }",
    "  return s;",
    "}",
    "vec3 parts(vec3 p, Shape s) {",
    "  float radius = s.opening > 0.5 ? uOpeningEdge : uEdge;",
    "  float front = uBellies.x * s.dome, back = -uSize.z - uBellies.y * s.dome;",
    "  float high = abs(p.z - 0.5 * (front + back)) - 0.5 * (front - back) + radius;",
    "  return vec3(radius - s.inside, high, radius);",
    "}",
    "float away(vec3 p) {",
    "  Shape s = shapeAt(p);",
    "  vec3 v = parts(p, s);",
    "  float plate = min(max(v.x, v.y), 0.0) + length(max(v.xy, 0.0)) - v.z;",
    "  return s.opening > 0.5 && s.inside < 0.0 ? min(plate, abs(s.ground) - sunk(p, s.ground)) : plate;",
    "}",
    "float depthOf(vec3 p, Shape s) {",
    "  float front = uBellies.x * s.dome - p.z, back = p.z + uSize.z + uBellies.y * s.dome;",
    "  return s.ground < 0.0 ? back : s.ground < " + THROUGH_MM + " ? front : min(front, back);",
    "}",
    "Met met(vec3 p, float share) {",
    "  Shape s = shapeAt(p);",
    "  vec3 v = parts(p, s);",
    "  vec4 slope = lattice(uSlopes, p);",
    "  bool up = p.z > -0.5 * uSize.z;",
    "  float sideways = max(v.x, 0.0), upright = max(v.y, 0.0), belly = up ? uBellies.x : uBellies.y;",
    "  vec3 n = vec3(-sideways * slope.xy - upright * belly * slope.zw, up ? upright : -upright);",
    "  bool flat_ = upright >= sideways, opening = s.opening > 0.5;",
    "  bool ground = opening && s.inside < -uArrived && sunk(p, s.ground) > abs(s.ground) * 0.8;",
    "  if (max(max(abs(n.x), abs(n.y)), abs(n.z)) < 1e-6) n = vec3(0.0, 0.0, 1.0);",
    "  if (ground) n = vec3(0.0, 0.0, sign(s.ground));",
    "  n = unit(n);",
    "  int kind = ground ? BARE : flat_ ? (up ? FRONT : BACK) : opening ? BARE : SIDE;",
    "  vec2 on = p.xy;",
    "  vec3 across = vec3(kind == BACK ? -1.0 : 1.0, 0.0, 0.0), down = vec3(0.0, 1.0, 0.0);",
    "  if (kind == BACK) on.x = uSize.x - p.x;",
    "  if (kind == SIDE) {",
    "    vec2 turn = lattice(uRest, p).yz;",
    "    on = vec2(fract(atan(turn.y, turn.x) / 6.283185307) * uRing, -p.z);",
    "    across = vec3(slope.y, -slope.x, 0.0);",
    "    down = vec3(0.0, 0.0, -1.0);",
    "  }",
    "  return Met(share, kind, on, p.xy, n, laidOn(across, n), laidOn(down, n), depthOf(p, s), v.x > 0.0 ? 1.0 / v.z : 0.0);",
    "}",
  ].join("\n");

  const SHELL = [
    "uniform float uWall, uEdge;",
    "vec2 shellParts(vec3 p, float round_) {",
    "  float outer = 0.5 * uSize.x;",
    "  return vec2(abs(round_ - outer + 0.5 * uWall) - 0.5 * uWall, abs(p.y - 0.5 * uSize.y) - 0.5 * uSize.y) + uEdge;",
    "}",
    "vec2 axis(vec3 p) { return vec2(p.x - 0.5 * uSize.x, p.z + 0.5 * uSize.x); }",
    "float away(vec3 p) {",
    "  vec2 v = shellParts(p, length(axis(p)));",
    "  return min(max(v.x, v.y), 0.0) + length(max(v, 0.0)) - uEdge;",
    "}",
    "Met met(vec3 p, float share) {",
    "  vec2 xz = axis(p);",
    "  float round_ = length(xz), outer = 0.5 * uSize.x;",
    "  vec2 v = shellParts(p, round_), way = xz / max(round_, 1e-6);",
    "  bool outside = round_ > outer - 0.5 * uWall;",
    "  float sideways = outside ? max(v.x, 0.0) : -max(v.x, 0.0), upright = max(v.y, 0.0) * sign(p.y - 0.5 * uSize.y);",
    "  vec3 n = unit(vec3(sideways * way.x, upright, sideways * way.y));",
    "  float turn = atan(xz.x, xz.y) / 6.283185307 + 0.5;",
    "  vec2 on = vec2(turn * 3.141592654 * uSize.x, clamp(p.y, 0.0, uSize.y));",
    "  vec3 across = vec3(way.y, 0.0, -way.x), down = laidOn(vec3(0.0, 1.0, 0.0), n);",
    "  float depth = min(p.y, uSize.y - p.y);",
    "  return Met(share, outside ? FRONT : BARE, on, on, n, across, down, depth, v.y > 0.0 ? 1.0 / uEdge : 1.0 / outer);",
    "}",
  ].join("\n");

  const TRACE = [
    "vec2 onPicture() { return uCorner + vec2(gl_FragCoord.x, uTall - gl_FragCoord.y) * uPixel; }",
    /* Sphere tracing: the share of the pixel that the solid covers, and where its ray comes nearest. */
    "float traced(out vec3 best) {",
    "  vec3 start = transpose(uTurn) * vec3(onPicture() - uAt, uReach) + uMiddle;",
    "  vec3 towards = -(transpose(uTurn) * vec3(0.0, 0.0, 1.0));",
    "  vec3 pace = vec3(abs(towards.x) > 1e-6 ? towards.x : 1e-6, abs(towards.y) > 1e-6 ? towards.y : 1e-6, abs(towards.z) > 1e-6 ? towards.z : 1e-6);",
    "  vec3 one = (uLow - uPixel - start) / pace, other = (uHigh + uPixel - start) / pace;",
    "  vec3 near = min(one, other), far = max(one, other);",
    "  float along = max(max(max(near.x, near.y), near.z), 0.0), last = min(min(far.x, far.y), far.z);",
    "  float nearest = 1e9;",
    "  best = start + towards * along;",
    "  for (int i = 0; i < uSteps && along < last; i++) {",
    "    vec3 p = start + towards * along;",
    "    float d = away(p);",
    "    if (d < nearest) { nearest = d; best = p; }",
    "    along += uStride * d;",
    "    if (d <= uArrived) break;",
    "  }",
    "  return clamp(1.0 - (nearest - uArrived) / uPixel, 0.0, 1.0);",
    "}",
  ].join("\n");

  /* The shader's pieces for a body. */
  function pieces(body) { return [COMMON, body.kind === "shell" ? SHELL : PLATE, TRACE].join("\n"); }

  /* From a solid's coordinates to the room's, row by row. */
  function turn(yawDeg, pitchDeg) {
    const yaw = yawDeg * Math.PI / 180, pitch = pitchDeg * Math.PI / 180, c = Math.cos, s = Math.sin;
    return [
      [c(yaw), 0, s(yaw)],
      [-s(pitch) * s(yaw), c(pitch), s(pitch) * c(yaw)],
      [-c(pitch) * s(yaw), -s(pitch), c(pitch) * c(yaw)],
    ];
  }

  function middle(body) { return [0.5 * body.width_mm, 0.5 * body.height_mm, -0.5 * body.depth_mm]; }

  /* How far from its middle a turned body reaches along each axis of the room [mm]. */
  function reach(body, matrix) {
    const about = middle(body), most = [0, 1, 2].map(function (k) {
      return Math.max.apply(null, body.box_mm.map(function (corner) { return Math.abs(corner[k] - about[k]); }));
    });
    return matrix.map(function (row) { return 1 + Math.abs(row[0]) * most[0] + Math.abs(row[1]) * most[1] + Math.abs(row[2]) * most[2]; });
  }

  /* How fast the told distance falls at most along the eye's rays: plate.Plate.pace. */
  function pace(body, matrix) {
    if (body.kind === "shell") { return 1; }
    const towards = matrix[2], sideways = Math.hypot(towards[0], towards[1]);
    return Math.max(1, Math.hypot(sideways, Math.abs(towards[2]) + body.steepest * sideways));
  }

  /* Set what the pieces need for a body in a pose; view: corner (picture's mm at the canvas' top left), pixel, tall. */
  function set(gl, where, solid, matrix, view) {
    const body = solid.body, steep = pace(body, matrix);
    gl.uniformMatrix3fv(where.uTurn, true, [].concat.apply([], matrix));
    if (where.uSteps) { gl.uniform1i(where.uSteps, Math.ceil(body.steps * steep)); }
    LiveGl.uniforms(gl, where, {
      uMiddle: middle(body), uLow: body.box_mm[0], uHigh: body.box_mm[1], uSize: [body.width_mm, body.height_mm, body.depth_mm],
      uAt: solid.middle_mm, uCorner: view.corner, uPixel: view.pixel, uTall: view.tall, uReach: reach(body, matrix)[2],
      uStride: body.stride / steep, uArrived: body.arrived_mm, uEdge: body.edge_mm,
    });
    if (body.kind === "shell") { LiveGl.uniforms(gl, where, { uWall: body.wall_mm }); return; }
    LiveGl.uniforms(gl, where, {
      uLattice: [body.left_mm, body.top_mm, body.step_mm, 0], uBellies: body.bellies_mm, uOpeningEdge: body.opening_edge_mm, uRing: body.ring_mm,
    });
  }

  /* Whether a face's kind can be seen in a pose: faces reach round their edges, and over an arch as steep as it is. */
  function seen(body, kind, matrix) {
    if (body.kind === "shell" || kind > 1) { return true; }
    const eye = matrix[2], facing = kind === 0 ? eye[2] : -eye[2];
    return facing + (1 + body.steepest) * Math.hypot(eye[0], eye[1]) > 0;
  }

  return { seen: seen, pieces: pieces, turn: turn, middle: middle, reach: reach, set: set };
})();
