/* One slider for a whole option, "paler - deeper": each position is whole coats and whole percents, as far as the painter allows. */
const Depth = (function () {
  "use strict";
  const MOST_STEPS = 10, LEAST_STEP = Math.log(1.05);

  function clamp(value, low, high) { return Math.min(high, Math.max(low, value)); }

  /* Coats and strengths [%] as the painter proposes them, which is always within what may be chosen. */
  function proposed(option) {
    return { coats: option.coats.map(function (coat) { return coat.coats; }), strength: option.mixes.map(function () { return 100; }) };
  }

  /* Mixes with what their coats may be: `from` and `to` coats; none is left out that may stay. */
  function mixesOf(option, start) {
    return option.mixes.map(function (mix, m) {
      const coats = [];
      option.coats.forEach(function (coat, i) {
        if (coat.mix !== mix.name) { return; }
        coats.push({ index: i, from: Math.max(coat.fewest, Math.min(1, coat.most)), to: coat.most, proposed: start.coats[i] });
      });
      return { index: m, weakest: mix.weakest, strongest: mix.strongest, proposed: start.strength[m], coats: coats };
    });
  }

  /* Coats and strength of a mix that come nearest to `d` times what is proposed and lie beyond (`side`: 1 deeper, -1 paler)
     what was there: the strength nearest to the proposed one, the coats make up the rest. Null where there is none. */
  function nearest(mix, d, side, was) {
    let best = null, least = Infinity;
    for (let strength = mix.weakest; strength <= mix.strongest; strength += 1) {
      let cost = 0.01 * Math.pow(Math.log(strength / mix.proposed), 2);
      const counts = mix.coats.map(function (coat) {
        const wanted = (d * coat.proposed * mix.proposed) / strength, low = was ? was.coats[coat.index] * was.strength[mix.index] / strength : 0;
        const from = was && side > 0 ? Math.max(coat.from, Math.ceil(low - 1e-9)) : coat.from;
        const to = was && side < 0 ? Math.min(coat.to, Math.floor(low + 1e-9)) : coat.to;
        const n = clamp(Math.round(wanted), from, to);
        cost += from > to ? Infinity : Math.pow(Math.log(Math.max(n, 0.01) / Math.max(wanted, 0.01)), 2);
        return n;
      });
      if (cost < least - 1e-12) { least = cost; best = { strength: strength, counts: counts }; }
    }
    return best;
  }

  function moved(mixes, d, side, was) {
    const next = { coats: was.coats.slice(), strength: was.strength.slice() };
    mixes.forEach(function (mix) {
      const found = nearest(mix, d, side, was);
      if (!found) { return; }
      next.strength[mix.index] = found.strength;
      mix.coats.forEach(function (coat, k) { next.coats[coat.index] = found.counts[k]; });
    });
    return next;
  }

  /* How much of each dye coat there is: what a picture is made of. */
  function builds(option, set) {
    return option.coats.map(function (coat, i) {
      const mix = option.mixes.findIndex(function (one) { return one.name === coat.mix; });
      return mix < 0 ? 0 : set.coats[i] * set.strength[mix];
    });
  }

  /* The furthest factor that any mix can follow. */
  function end(mixes, side) {
    const logs = [0];
    mixes.forEach(function (mix) {
      mix.coats.forEach(function (coat) {
        const least = coat.from * mix.weakest, most = coat.to * mix.strongest, now = coat.proposed * mix.proposed;
        if (now > 0) { logs.push(Math.log(Math.max(side > 0 ? most : least, 1e-3) / now)); }
      });
    });
    return side > 0 ? Math.max.apply(null, logs) : Math.min.apply(null, logs);
  }

  /* Positions on one side of what is proposed, the nearest first: steps even in the logarithm, each another picture. */
  function side(option, mixes, start, sign) {
    const far = end(mixes, sign), count = clamp(Math.round(Math.abs(far) / LEAST_STEP), 0, MOST_STEPS), found = [];
    let was = start;
    for (let k = 1; k <= count; k += 1) {
      const next = moved(mixes, Math.exp((far * k) / count), sign, was);
      if (String(builds(option, next)) !== String(builds(option, was))) { found.push(next); was = next; }
    }
    return found;
  }

  /* All positions from the palest to the deepest; `middle` is the place of what is proposed. */
  function positions(option) {
    const start = proposed(option), mixes = mixesOf(option, start).filter(function (mix) { return mix.coats.length > 0; });
    const paler = side(option, mixes, start, -1), deeper = side(option, mixes, start, 1);
    return { all: paler.reverse().concat([start], deeper), middle: paler.length };
  }

  /* Where on the slider coats and strengths stand: its place, and whether they are just those of that place. */
  function place(option, found, set) {
    const same = found.all.findIndex(function (one) { return JSON.stringify(one) === JSON.stringify({ coats: set.coats, strength: set.strength }); });
    if (same >= 0) { return { at: same, exact: true }; }
    const here = builds(option, set);
    const apart = found.all.map(function (one) {
      return builds(option, one).reduce(function (sum, build, i) { return sum + Math.pow(Math.log((build + 1) / (here[i] + 1)), 2); }, 0);
    });
    return { at: apart.indexOf(Math.min.apply(null, apart)), exact: false };
  }

  /* The key of the words for a place: how far it is on its side. */
  function word(found, at) {
    const steps = Math.abs(at - found.middle), whole = at < found.middle ? found.middle : found.all.length - 1 - found.middle;
    if (steps === 0) { return "depth_proposed"; }
    const share = steps / whole, side = at < found.middle ? "paler" : "deeper";
    if (share === 1) { return "depth_" + side + "_most"; }
    return "depth_" + side + (share <= 0.34 ? "_little" : share > 0.67 ? "_much" : "");
  }

  return { proposed: proposed, positions: positions, place: place, word: word, builds: builds };
})();
