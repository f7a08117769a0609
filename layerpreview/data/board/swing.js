/* One slow turn when an option is seen first, so that glints and the mirror image are seen to move: any touch ends it. */
const Swing = (function () {
  "use strict";
  const SECONDS = 5, DEGREES = 14;
  let running = null, done = false;

  function begin() {
    if (done || document.hidden || window.matchMedia("(prefers-reduced-motion: reduce)").matches) { return; }
    done = true;
    const own = running = {}, start = performance.now();
    ["pointerdown", "keydown", "wheel"].forEach(function (name) { window.addEventListener(name, stop, { capture: true, passive: true }); });
    (function step() {
      if (running !== own) { return; }
      const along = Math.min(1, (performance.now() - start) / (1000 * SECONDS));
      Stage.turn({ yaw: DEGREES * Math.sin(2 * Math.PI * along) * Math.sin(Math.PI * along) });
      if (along < 1) { requestAnimationFrame(step); } else { stop(); }
    })();
  }

  function stop() {
    running = null;
    ["pointerdown", "keydown", "wheel"].forEach(function (name) { window.removeEventListener(name, stop, { capture: true }); });
  }

  return { begin: begin, stop: stop };
})();
