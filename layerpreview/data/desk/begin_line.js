/* The line round the part, bent where it is pulled: the same sum as the desk's own (surface/bent.py), so that what is
   drawn under the finger is what is written. All in pixels of the photo. */

export function lengths(ring) {
  const at = [0];
  for (let i = 0; i < ring.length; i++) {
    const [x, y] = ring[i], [u, v] = ring[(i + 1) % ring.length];
    at.push(at[i] + Math.hypot(u - x, v - y));
  }
  return at;
}

/* With points put in, so that a long straight side can bend. */
export function dense(ring, step) {
  const out = [];
  for (let i = 0; i < ring.length; i++) {
    const [x, y] = ring[i], [u, v] = ring[(i + 1) % ring.length];
    const n = Math.max(1, Math.ceil(Math.hypot(u - x, v - y) / step));
    for (let k = 0; k < n; k++) out.push([x + (u - x) * k / n, y + (v - y) * k / n]);
  }
  return out;
}

/* Where along the line the point nearest to (x, y) lies. */
function along(ring, at, x, y) {
  let best = Infinity, where = 0;
  for (let i = 0; i < ring.length; i++) {
    const [a, b] = ring[i], [c, d] = ring[(i + 1) % ring.length], long = at[i + 1] - at[i];
    const t = long ? Math.min(1, Math.max(0, ((x - a) * (c - a) + (y - b) * (d - b)) / (long * long))) : 0;
    const away = Math.hypot(a + t * (c - a) - x, b + t * (d - b) - y);
    if (away < best) [best, where] = [away, at[i] + t * long];
  }
  return where;
}

/* How far a place of the line, `s` along it, is moved by all pulls. */
function moved(s, whole, pulls) {
  let right = 0, down = 0;
  for (const pull of pulls) {
    const off = Math.abs(s - pull.s), away = Math.min(off, whole - off), share = Math.exp(-0.5 * (away / pull.reach) ** 2);
    right += share * pull.right;
    down += share * pull.down;
  }
  return [right, down];
}

export class Line {
  constructor(ring) {
    this.found = dense(ring, Math.max(1, lengths(ring)[ring.length] / 1200));
    this.at = lengths(this.found);
    this.whole = this.at[this.found.length];
    this.pulls = [];
  }

  /* The line as it is pulled now. */
  ring() {
    return this.found.map(([x, y], i) => {
      const [right, down] = moved(this.at[i], this.whole, this.pulls);
      return [x + right, y + down];
    });
  }

  /* Places to hold it at, so many and evenly along it: where each was found. */
  handles(count) {
    return Array.from({ length: count }, (_, k) => {
      const s = this.whole * k / count;
      let i = this.at.findIndex((value) => value > s) - 1;
      if (i < 0) i = 0;
      return this.found[i];
    });
  }

  /* Where a place that was found at (x, y) lies now. */
  now(x, y) {
    const [right, down] = moved(along(this.found, this.at, x, y), this.whole, this.pulls);
    return [x + right, y + down];
  }

  pull(x, y, right, down, reach) {
    let one = this.pulls.find((pull) => pull.x === x && pull.y === y);
    if (!one) this.pulls.push(one = { x, y, right: 0, down: 0, reach, s: along(this.found, this.at, x, y) });
    one.right += right;
    one.down += down;
  }

  asked() { return this.pulls.map((one) => [one.x, one.y, one.right, one.down, one.reach]); }
}
