/* Edges of a face in millimetres: how far a place lies from one, and the line that keeps a distance. */

const KEPT = 0.97, FEWEST = 3;

/* The rings that a burst starts at: the outline, one opening, all of them; none for what is no edge. */
function ringsOf(face, source) {
  if (source === "outline") return [face.outline];
  const openings = face.openings.filter((one) => one.ring && (source === "openings" || one.name === source));
  return openings.map((one) => one.ring);
}

export function middleOf(face, source) { return ringsOf(face, source).length > 0; }

function awayFrom(ring, [x, y]) {
  let nearest = Infinity;
  for (let k = 0; k < ring.length; k += 1) {
    const [ax, ay] = ring[k], [bx, by] = ring[(k + 1) % ring.length], dx = bx - ax, dy = by - ay;
    const along = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
    nearest = Math.min(nearest, Math.hypot(ax + along * dx - x, ay + along * dy - y));
  }
  return nearest;
}

export function awayMm(face, source, point) { return Math.min(...ringsOf(face, source).map((ring) => awayFrom(ring, point))); }

/* Twice the signed area: its sign says which way round a ring goes. */
function turning(ring) {
  return ring.reduce((sum, [x, y], k) => { const [u, v] = ring[(k + 1) % ring.length]; return sum + x * v - u * y; }, 0);
}

/* The line that lies so many mm inside the outline, or outside an opening. */
export function inset(face, source, mm) {
  const rings = ringsOf(face, source), ring = rings[0];
  if (!ring || ring.length < FEWEST) return [];
  const inwards = (source === "outline" ? 1 : -1) * Math.sign(turning(ring));
  return ring.map(([x, y], k) => {
    const [ax, ay] = ring[(k + ring.length - 1) % ring.length], [bx, by] = ring[(k + 1) % ring.length], dx = bx - ax, dy = by - ay, long = Math.hypot(dx, dy) || 1;
    return [x - inwards * dy / long * mm, y + inwards * dx / long * mm];
  }).filter((point) => awayFrom(ring, point) > KEPT * mm);
}
