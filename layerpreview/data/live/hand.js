/*
 * The hand on a picture: dragged it turns, pinched it comes closer, touched it tells where. Keys do the same. Whose picture
 * it is says in `how`:
 *   pose(): { yaw, pitch, zoom, x, y }; turn(changes); stands(): back to how it stands; least, most: how far it zooms;
 *   touched(clientX, clientY): a touch that did not move it; begun(): a hand, a key or the wheel is there;
 *   scrolls: the page scrolls under it: by the wheel without Ctrl, and by a finger up and down while all is seen.
 */
const LiveHand = (function () {
  "use strict";
  const DEG_PER_PX = 0.45, MOVED_PX = 5, KEY_DEG = 5, FINE_DEG = 1, STEP_ZOOM = 1.25, KEY_SLIDE = 0.08;
  /* By how much a pixel of the wheel zooms; two fingers on a touch pad come as a wheel with Ctrl, in small steps. */
  const WHEEL = 0.0015, PINCH_WHEEL = 0.01;
  const TWICE_MS = 350, TWICE_PX = 30, CLOSE = 2.5;

  function apart(two) { return Math.hypot(two[0][0] - two[1][0], two[0][1] - two[1][1]); }
  function middle(two) { return [(two[0][0] + two[1][0]) / 2, (two[0][1] + two[1][1]) / 2]; }

  /* A hand on the element `area`. */
  function Hand(area, how) {
    const self = this;
    this.area = area;
    this.how = how;
    this.fingers = new Map();
    this.moved = false;
    this.last = null;
    area.addEventListener("pointerdown", function (event) { self.down(event); });
    area.addEventListener("pointermove", function (event) { self.move(event); });
    ["pointerup", "pointercancel"].forEach(function (end) { area.addEventListener(end, function (event) { self.up(event); }); });
    area.addEventListener("wheel", function (event) { self.wheel(event); }, { passive: false });
  }

  Hand.prototype.begun = function () { if (this.how.begun) { this.how.begun(); } };

  Hand.prototype.down = function (event) {
    if (event.button > 0) { return; }
    this.begun();
    this.area.setPointerCapture(event.pointerId);
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    this.moved = this.fingers.size > 1 || Boolean(event.target.closest("button"));   // a mark that lies there is no place of the part
  };

  Hand.prototype.move = function (event) {
    const from = this.fingers.get(event.pointerId), pose = this.how.pose();
    if (!from) { return; }
    const dx = event.clientX - from[0], dy = event.clientY - from[1];
    if (this.fingers.size > 1) { this.pinch(event); return; }
    if (!this.moved && Math.hypot(dx, dy) < MOVED_PX) { return; }
    this.moved = true;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (event.shiftKey) { this.slide(dx, dy); return; }
    const sideways = this.how.scrolls && event.pointerType === "touch" && pose.zoom <= 1;
    this.how.turn({ yaw: pose.yaw + dx * DEG_PER_PX, pitch: sideways ? pose.pitch : pose.pitch + dy * DEG_PER_PX });
  };

  Hand.prototype.up = function (event) {
    if (!this.fingers.delete(event.pointerId) || event.type === "pointercancel" || this.moved) { return; }
    if (this.how.touched) { this.how.touched(event.clientX, event.clientY); }
    if (!this.how.scrolls) { return; }
    const at = [event.clientX, event.clientY], now = event.timeStamp, last = this.last;
    const twice = last && now - last.now < TWICE_MS && apart([at, last.at]) < TWICE_PX;
    this.last = twice ? null : { now: now, at: at };
    if (twice) { this.zoom(this.how.pose().zoom > 1 ? 1 / this.how.pose().zoom : CLOSE, at); }
  };

  Hand.prototype.wheel = function (event) {
    if (this.how.scrolls && !event.ctrlKey) { return; }
    event.preventDefault();
    this.begun();
    this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? PINCH_WHEEL : WHEEL)), [event.clientX, event.clientY]);
  };

  Hand.prototype.slide = function (dx, dy) {
    const box = this.area.getBoundingClientRect(), pose = this.how.pose();
    this.how.turn({ x: pose.x + dx / box.width, y: pose.y + dy / box.height });
  };

  /* Come closer by `factor`; what lies under `at` (of the page, else the middle) stays there. */
  Hand.prototype.zoom = function (factor, at) {
    const pose = this.how.pose(), box = this.area.getBoundingClientRect();
    const zoom = Math.min(this.how.most, Math.max(this.how.least, pose.zoom * factor)), by = zoom / pose.zoom;
    const u = at ? (at[0] - box.left) / box.width - 0.5 : 0, v = at ? (at[1] - box.top) / box.height - 0.5 : 0;
    this.how.turn({ zoom: zoom, x: u - (u - pose.x) * by, y: v - (v - pose.y) * by });
  };

  Hand.prototype.pinch = function (event) {
    const before = Array.from(this.fingers.values()).slice(0, 2);
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    const after = Array.from(this.fingers.values()).slice(0, 2), a = middle(before), b = middle(after);
    this.zoom(apart(after) / Math.max(1, apart(before)), a);
    this.slide(b[0] - a[0], b[1] - a[1]);
  };

  /* What a key does; whether it does something. Closer up, Shift and arrows move the picture. */
  Hand.prototype.keyed = function (event) {
    const pose = this.how.pose(), box = this.area.getBoundingClientRect(), step = event.shiftKey ? FINE_DEG : KEY_DEG;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const closer = { "+": STEP_ZOOM, "=": STEP_ZOOM, "-": 1 / STEP_ZOOM }[event.key];
    if (event.ctrlKey || event.altKey || event.metaKey) { return false; }
    if (way && event.shiftKey && pose.zoom > 1) {
      this.slide(-way[0] * KEY_SLIDE * box.width, -way[1] * KEY_SLIDE * box.height);
    } else if (way) {
      this.how.turn({ yaw: pose.yaw + way[0] * step, pitch: pose.pitch + way[1] * step });
    } else if (closer) {
      this.zoom(closer, null);
    } else if (event.key === "Home" || event.key === "0") {
      this.how.stands();
    } else {
      return false;
    }
    this.begun();
    event.preventDefault();
    return true;
  };

  return { Hand: Hand, STEP_ZOOM: STEP_ZOOM };
})();
