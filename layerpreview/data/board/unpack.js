/*
 * The textures of the live picture from the packed files of the page: output/board_pack_*.py pack them and say how. Nothing is
 * fetched; the work is done in short slices, so that the page answers meanwhile.
 */
const Unpack = (function () {
  "use strict";
  const BLOCK = 8, SLICE_MS = 12, AT_ONCE = 1 << 15;
  const DCT = new Float32Array(64), ORDER = new Uint8Array(64);
  let files = {}, since = 0;
  const waiting = [], channel = new MessageChannel();
  channel.port1.onmessage = function () { waiting.shift()(); };

  for (let k = 0; k < BLOCK; k += 1) {
    for (let x = 0; x < BLOCK; x += 1) { DCT[BLOCK * k + x] = Math.cos(Math.PI * (2 * x + 1) * k / 16) * Math.sqrt(k ? 0.25 : 0.125); }
  }
  /* The waves of a block from the longest to the shortest. */
  Array.from({ length: 64 }, function (_, p) { return p; })
    .sort(function (a, b) { return (a >> 3) + (a & 7) - (b >> 3) - (b & 7) || a - b; })
    .forEach(function (p, i) { ORDER[i] = p; });

  /* Take the page's packed files: base64 by name. */
  function begin(packed) { files = packed; }

  /* Let the page do something else where this slice of work has taken its time. */
  function breathe() {
    if (performance.now() - since < SLICE_MS) { return null; }
    return new Promise(function (resolve) {
      waiting.push(function () { since = performance.now(); resolve(); });
      channel.port2.postMessage(0);
    });
  }

  function bytesOf(name) {
    const text = files[name];
    if (Uint8Array.fromBase64) { return Uint8Array.fromBase64(text); }
    const signs = atob(text), bytes = new Uint8Array(signs.length);
    for (let i = 0; i < signs.length; i += 1) { bytes[i] = signs.charCodeAt(i); }
    return bytes;
  }

  async function inflated(name) {
    const stream = new Blob([bytesOf(name)]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  /* One block of waves: its numbers to `out` at `at`, `wide` places a row, as many rows and columns as there are. */
  function block(steps, step, out, at, wide, rows, cols, lines) {
    let used = 0;
    lines.fill(0);
    for (let p = 0; p < 64; p += 1) {
      if (!steps[p]) { continue; }
      const c = steps[p] * step, i = p & 56, j = (p & 7) << 3;
      used |= 1 << (p >> 3);
      for (let x = 0; x < BLOCK; x += 1) { lines[i + x] += c * DCT[j + x]; }
    }
    for (let y = 0; y < rows; y += 1) {
      for (let x = 0; x < cols; x += 1) {
        let sum = 0;
        for (let i = 0; i < BLOCK; i += 1) { if (used >> i & 1) { sum += DCT[8 * i + y] * lines[8 * i + x]; } }
        out[at + y * wide + x] = sum;
      }
    }
  }

  /* Planes of waves: output/board_pack_waves.py. */
  async function waves(plan) {
    const bytes = await inflated(plan.file), n = plan.n, rows = plan.rows, cols = plan.cols;
    const down = Math.ceil(rows / BLOCK), across = Math.ceil(cols / BLOCK), each = n * down * across, count = plan.waves * each;
    const out = new Float32Array(n * rows * cols), steps = new Int32Array(64), lines = new Float32Array(64);
    const at = function (i) {
      const turned = bytes[i] | bytes[count + i] << 8 | bytes[2 * count + i] << 16;
      return (turned >>> 1) ^ -(turned & 1);
    };
    for (let layer = 0; layer < n; layer += 1) {
      let first = 0;
      for (let y = 0; y < down; y += 1) {
        let place = (layer * down + y) * across, mean = first += at(place);
        for (let x = 0; x < across; x += 1, place += 1) {
          if (x) { mean += at(place); }
          steps[0] = mean;
          for (let w = 1; w < plan.waves; w += 1) {
            const i = w * each + place;
            steps[ORDER[w]] = bytes[i] || bytes[count + i] || bytes[2 * count + i] ? at(i) : 0;
          }
          block(steps, plan.step, out, (layer * rows + 8 * y) * cols + 8 * x, cols, Math.min(BLOCK, rows - 8 * y), Math.min(BLOCK, cols - 8 * x), lines);
        }
        await breathe();
      }
    }
    return out;
  }

  function taps(places, stored, times) {
    const low = new Int32Array(places), next = new Int32Array(places), share = new Float32Array(places);
    for (let i = 0; i < places; i += 1) {
      const at = Math.min(Math.max((i + 0.5) / times - 0.5, 0), stored - 1);
      low[i] = Math.floor(at);
      next[i] = Math.min(low[i] + 1, stored - 1);
      share[i] = at - low[i];
    }
    return { low: low, next: next, share: share };
  }

  /* Straight between the middles of squares of `times` places. */
  async function spread(found, plan) {
    if (plan.times === 1) { return found; }
    const rows = plan.size[0], cols = plan.size[1], out = new Float32Array(plan.n * rows * cols);
    const down = taps(rows, plan.rows, plan.times), across = taps(cols, plan.cols, plan.times), line = new Float32Array(plan.cols);
    for (let layer = 0; layer < plan.n; layer += 1) {
      for (let y = 0; y < rows; y += 1) {
        const a = (layer * plan.rows + down.low[y]) * plan.cols, b = (layer * plan.rows + down.next[y]) * plan.cols, s = down.share[y];
        for (let x = 0; x < plan.cols; x += 1) { line[x] = found[a + x] * (1 - s) + found[b + x] * s; }
        const to = (layer * rows + y) * cols;
        for (let x = 0; x < cols; x += 1) {
          out[to + x] = line[across.low[x]] * (1 - across.share[x]) + line[across.next[x]] * across.share[x];
        }
        if (!(y & 15)) { await breathe(); }
      }
    }
    return out;
  }

  /* Do something with all numbers of a plane, some at once. */
  async function each(count, work) {
    for (let from = 0; from < count; from += AT_ONCE) {
      work(from, Math.min(from + AT_ONCE, count));
      await breathe();
    }
  }

  const PLANES = {
    number: async function (plan) { return new Float32Array(plan.n * plan.size[0] * plan.size[1]).fill(plan.number); },
    waves: async function (plan) {
      const found = await spread(await waves(plan), plan);
      if (plan.root === 3) {
        await each(found.length, function (from, to) { for (let i = from; i < to; i += 1) { found[i] = found[i] * found[i] * found[i]; } });
      }
      return found;
    },
    bits: async function (plan) {
      const bytes = await inflated(plan.file), rows = plan.size[0], cols = plan.size[1], count = rows * cols, out = new Float32Array(count);
      let first = 0;
      for (let y = 0, i = 0; y < rows; y += 1) {
        let bits = first;
        for (let x = 0; x < cols; x += 1, i += 1) {
          bits = bits + (bytes[i] | bytes[count + i] << 8) & 0xffff;
          if (!x) { first = bits; }
          out[i] = LiveGl.ofHalf(bits);
        }
      }
      return out;
    },
    curve: async function (plan, planes) {
      const over = await planes(plan.over), knots = plan.knots, last = knots.length - 1, times = last / (plan.high - plan.low);
      const out = new Float32Array(over.length);
      await each(over.length, function (from, to) {
        for (let i = from; i < to; i += 1) {
          const at = Math.min(Math.max((over[i] - plan.low) * times, 0), last), low = Math.min(Math.floor(at), last - 1);
          out[i] = knots[low] + (knots[low + 1] - knots[low]) * (at - low);
        }
      });
      return out;
    },
  };

  /* Wood that is made again, one plane of four; what soaks into it, over the rest of a build. */
  PLANES.grain = async function (plan, planes, kept) {
    const key = JSON.stringify(Object.assign({}, plan, { part: null }));
    kept[key] = kept[key] || UnpackWood.grain(plan, breathe);
    return (await kept[key])[plan.part].slice();
  };
  PLANES.soaked = async function (plan, planes) {
    const open = await planes(plan.over), rest = await planes(plan.rest), soak = plan.soak, out = new Float32Array(open.length);
    await each(open.length, function (from, to) {
      for (let i = from; i < to; i += 1) { out[i] = rest[i] * Math.max(1 + soak * (open[i] - 1), 0); }
    });
    return out;
  };

  const ONE = new Float32Array(1), ONE_BITS = new Uint32Array(ONE.buffer);

  /* A number in half precision, the nearest one; what is beyond is the largest. */
  function toHalf(value) {
    ONE[0] = value;
    const bits = ONE_BITS[0], sign = bits >>> 16 & 0x8000, power = bits >>> 23 & 255;
    if (power < 103) { return sign; }
    if (power < 113) {
      const shift = 126 - power;
      return sign | ((bits & 0x7fffff | 0x800000) + (1 << shift - 1)) >>> shift;
    }
    return sign | Math.min(((power - 112) << 10 | bits >>> 13 & 1023) + (bits >>> 12 & 1), 0x7bff);
  }

  /* Float planes, one of each channel, side by side in half precision. */
  async function together(parts) {
    const count = parts[0].length, wide = parts.length, out = new Uint16Array(count * wide);
    for (let c = 0; c < wide; c += 1) {
      const part = parts[c];
      await each(count, function (from, to) { for (let i = from; i < to; i += 1) { out[i * wide + c] = toHalf(part[i]); } });
    }
    return out.buffer;
  }

  const KINDS = {
    plain: async function (plan) {
      const bytes = await inflated(plan.file), count = bytes.length / 2, out = new Uint8Array(2 * count);
      await each(count, function (from, to) {
        for (let i = from; i < to; i += 1) {
          out[2 * i] = bytes[i];
          out[2 * i + 1] = bytes[count + i];
        }
      });
      return out.buffer;
    },
    planes: async function (plan, planes) {
      const channels = [];
      for (const plans of plan.channels) {
        const parts = [];
        for (const one of plans) { parts.push(await planes(one)); }
        channels.push(parts.length === 1 ? parts[0] : joined(parts));
      }
      return together(channels);
    },
    colour: async function (plan, planes) {
      const rgb = [];
      for (const one of plan.planes.concat(plan.fourth)) { rgb.push(await planes(one)); }
      const first = rgb[0], second = rgb[1], third = rgb[2];
      await each(first.length, function (from, to) {
        for (let i = from; i < to; i += 1) {
          const bright = first[i], r = bright + second[i], g = bright - second[i] - third[i], b = bright + third[i];
          first[i] = r * r * r;
          second[i] = g * g * g;
          third[i] = b * b * b;
        }
      });
      return together(rgb);
    },
    law: async function (plan, planes) {
      const seen = await inflated(plan.seen), gain = await planes(plan.gain), parts = [gain];
      await each(gain.length, function (from, to) {
        for (let i = from; i < to; i += 1) { gain[i] = seen[i >> 3] >> (i & 7) & 1 ? Math.max(gain[i], 0) : 0; }
      });
      for (const one of plan.paths) {
        const path = await planes(one);
        await each(gain.length, function (from, to) { for (let i = from; i < to; i += 1) { path[i] *= gain[i]; } });
        parts.push(path);
      }
      return together(parts);
    },
    relief: async function (plan) { return together(await UnpackRelief.slopes(plan, breathe)); },
    strewn: function (plan) { return UnpackFields.strewn(plan, breathe); },
  };

  function joined(parts) {
    const out = new Float32Array(parts.reduce(function (sum, part) { return sum + part.length; }, 0));
    let at = 0;
    parts.forEach(function (part) {
      out.set(part, at);
      at += part.length;
    });
    return out;
  }

  /* How often each file is named: those of several planes are unpacked once. */
  function uses(value, found) {
    if (value && typeof value === "object") {
      if (value.file) { found[value.file] = (found[value.file] || 0) + 1; }
      Object.values(value).forEach(function (part) { uses(part, found); });
    }
    return found;
  }

  /* What Live.Solid.load asks for a picture's textures: a function of their hash, which unpacks one after the other. */
  function from(picture) {
    const kept = {}, often = uses(picture.packed, {});
    let last = Promise.resolve();
    const planes = async function (plan) {
      if (!plan.file || often[plan.file] < 2) { return PLANES[plan.as](plan, planes, kept); }
      kept[plan.file] = kept[plan.file] || PLANES[plan.as](plan, planes, kept);
      return kept[plan.file];
    };
    return function (hash) {
      const plan = picture.packed[hash], work = function () { return KINDS[plan.as](plan, planes); };
      last = last.then(work, work);
      return last;
    };
  }

  return { begin: begin, from: from };
})();
