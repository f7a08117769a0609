/*
 * What a burst starts at, on its face in millimetres: how far a place lies from it, and the lines that keep a distance. An
 * edge (of the outline, an opening, a zone), a straight line or a point: as picture/maps.py has them.
 */

const KEPT = 0.97, FEWEST = 3, PARTS = 96;

/* Closed lines of what a burst starts at, and on which side of each it lies: 1 or -1, as the line goes round. */
function ringsOf(face, { from }) {
  if (from === "outline") return face.wraps ? [] : [{ ring: face.outline, way: Math.sign(turning(face.outline)) }];
  const zone = face.zones.find((one) => one.name === from);
  if (zone) return (zone.rings || []).map((ring) => ({ ring, way: 1 }));
  return face.openings.filter((one) => one.ring && (from === "openings" || one.name === from)).map(({ ring }) => ({ ring, way: -Math.sign(turning(ring)) }));
}

/* Whether a burst starts at something that the face has. */
export function startsOn(face, burst) {
  if (burst.face && burst.face !== face.name) return false;
  return ["line", "centre"].includes(burst.from) || (face.wraps && burst.from === "outline") || ringsOf(face, burst).length > 0;
}

/* Twice the signed area: its sign says which way round a ring goes. */
function turning(ring) {
  return ring.reduce((sum, [x, y], k) => { const [u, v] = ring[(k + 1) % ring.length]; return sum + x * v - u * y; }, 0);
}

function awayFrom(ring, [x, y]) {
  let nearest = Infinity;
  for (let k = 0; k < ring.length; k += 1) {
    const [ax, ay] = ring[k], [bx, by] = ring[(k + 1) % ring.length], dx = bx - ax, dy = by - ay;
    const along = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
    nearest = Math.min(nearest, Math.hypot(ax + along * dx - x, ay + along * dy - y));
  }
  return nearest;
}

function heading(burst) {
  const turn = burst.angle_deg * Math.PI / 180;
  return [Math.sin(turn), -Math.cos(turn)];
}

/* The shorter way round a tube. */
function across(face, dx) { return face.wraps ? dx - face.width_mm * Math.round(dx / face.width_mm) : dx; }

/* How far a place of the face lies from what a burst starts at [mm]. */
export function awayMm(face, burst, [x, y]) {
  if (face.wraps && burst.from === "outline") return Math.min(y, face.height_mm - y);
  if (burst.from === "centre") return Math.hypot(across(face, x - burst.at_mm[0]), y - burst.at_mm[1]);
  if (burst.from === "line") {
    const [sx, sy] = heading(burst);
    return Math.abs((y - burst.at_mm[1]) * sx - across(face, x - burst.at_mm[0]) * sy);
  }
  return Math.min(...ringsOf(face, burst).map(({ ring }) => awayFrom(ring, [x, y])));
}

/* The same ring with so many more points that its straight sides can be followed. */
function dense(ring) {
  const step = ring.reduce((sum, [x, y], k) => { const [u, v] = ring[(k + 1) % ring.length]; return sum + Math.hypot(u - x, v - y); }, 0) / PARTS;
  return ring.flatMap(([x, y], k) => {
    const [u, v] = ring[(k + 1) % ring.length], count = Math.max(1, Math.ceil(Math.hypot(u - x, v - y) / step));
    return Array.from({ length: count }, (_, j) => [x + (u - x) * j / count, y + (v - y) * j / count]);
  });
}

/* The line that lies so many mm on the burst's side of a ring. */
function beside({ ring: own, way }, mm) {
  const ring = dense(own);
  return ring.map(([x, y], k) => {
    const [ax, ay] = ring[(k + ring.length - 1) % ring.length], [bx, by] = ring[(k + 1) % ring.length], dx = bx - ax, dy = by - ay, long = Math.hypot(dx, dy) || 1;
    return [x - way * dy / long * mm, y + way * dx / long * mm];
  }).filter((point) => awayFrom(own, point) > KEPT * mm);
}

function inside(ring, [x, y]) {
  return ring.reduce((odd, [ax, ay], k) => {
    const [bx, by] = ring[(k + 1) % ring.length];
    return (ay > y) !== (by > y) && x < ax + (y - ay) * (bx - ax) / (by - ay) ? !odd : odd;
  }, false);
}

function onFace(face, [x, y]) {
  return face.wraps ? y >= 0 && y <= face.height_mm : inside(face.outline, [x, y]);
}

function levels(face, burst, mm) {
  const row = (y) => Array.from({ length: PARTS }, (_, k) => [face.width_mm * k / PARTS, y]);
  return [row(mm), row(face.height_mm - mm)];
}

function straight(face, burst, mm) {
  const [sx, sy] = heading(burst), [x, y] = burst.at_mm, far = face.width_mm + face.height_mm;
  return [mm, -mm].map((by) => Array.from({ length: 2 * PARTS + 1 }, (_, k) => {
    const along = far * (k / PARTS - 1);
    return [x + along * sx - by * sy, y + along * sy + by * sx];
  }));
}

function round(face, burst, mm) {
  return [Array.from({ length: PARTS }, (_, k) => {
    const turn = 2 * Math.PI * k / PARTS;
    return [burst.at_mm[0] + mm * Math.cos(turn), burst.at_mm[1] + mm * Math.sin(turn)];
  })];
}

/* Where a burst of so many mm has faded out, on the face: lines as {points, closed}. */
export function faded(face, burst, mm) {
  const made = face.wraps && burst.from === "outline" ? levels : burst.from === "line" ? straight : burst.from === "centre" ? round : null;
  const found = made ? made(face, burst, mm) : ringsOf(face, burst).map((one) => beside(one, mm));
  return found.flatMap((points) => {
    const on = points.map((point) => onFace(face, point)), closed = made !== straight && made !== levels && on.every(Boolean);
    if (closed) return [{ points, closed }];
    const first = Math.max(0, on.indexOf(false)), parts = [[]];
    points.forEach((_, k) => {
      const at = (first + k) % points.length;
      if (on[at]) parts[parts.length - 1].push(points[at]); else parts.push([]);
    });
    return parts.map((part) => ({ points: part, closed }));
  }).filter(({ points }) => points.length >= FEWEST);
}
