/* The names of what stays bare, beside their places: they follow the turn, and are gone where their place is not seen. */
const Marks = (function () {
  "use strict";
  const data = Store.data, state = Store.state, OFF_PX = 12, APART_PX = 4;
  const byId = function (id) { return document.getElementById(id); };
  const box = byId("marks"), tool = byId("labels");
  let marks = [], of = null, shown = true;

  function begin() {
    Store.on("option lang", make);
    Stage.onDrawn(place);
    tool.addEventListener("click", function () {
      shown = !shown;
      tool.setAttribute("aria-pressed", String(shown));
      box.hidden = !shown;
      place(true);
    });
    make();
  }

  function make() {
    const seats = state.option === null ? [] : data.options[state.option].seats || [];
    tool.hidden = !seats.length;
    byId("help-seats").textContent = seats.map(function (seat) { return seat.name + ": " + Store.words.stays_bare + "."; }).join(" ");
    if (of === state.option) { return; }
    of = state.option;
    box.textContent = "";
    marks = seats.map(function (seat) {
      const mark = document.createElement("div"), name = document.createElement("bdi"), told = document.createElement("span");
      mark.className = "mark";
      mark.hidden = true;
      name.textContent = seat.name;
      told.dataset.t = "stays_bare";
      told.textContent = Store.words.stays_bare;
      mark.append(name, " ", told);
      box.append(mark);
      return { seat: seat, mark: mark };
    });
  }

  /* Whether a place is seen is looked up only once the picture stands: that has to wait for the graphics chip. */
  function place(stands) {
    if (!shown || !marks.length || Stage.loaded !== of) { return; }
    const stage = box.getBoundingClientRect(), taken = [];
    marks.forEach(function (one) {
      const at = stands ? Stage.solid.place(one.seat.face, one.seat.x_mm, one.seat.y_mm) : Stage.solid.placed(one.seat.face, one.seat.x_mm, one.seat.y_mm);
      if (stands) { one.hid = at && at.ahead && !at.seen; }
      const inside = at && at.ahead && !one.hid && at.x < Halves.until(stage) && at.x > stage.left && at.x < stage.right && at.y > stage.top && at.y < stage.bottom;
      one.mark.hidden = !inside;
      if (!inside) { return; }
      const w = one.mark.offsetWidth, h = one.mark.offsetHeight;
      const left = Math.min(Math.max(at.x - stage.left - w / 2, 2), Math.max(2, stage.width - w - 2));
      const top = free(left, at.y - stage.top - h - OFF_PX, w, h, taken);
      taken.push([left, top, w, h]);
      one.mark.style.transform = "translate(" + Math.round(left) + "px," + Math.round(top) + "px)";
    });
  }

  /* The nearest height at which a label covers none of the others. */
  function free(left, top, w, h, taken) {
    let at = Math.max(2, top);
    taken.slice().sort(function (a, b) { return a[1] - b[1]; }).forEach(function (one) {
      const beside = left + w + APART_PX < one[0] || left > one[0] + one[2] + APART_PX;
      if (!beside && at + h + APART_PX > one[1] && at < one[1] + one[3] + APART_PX) { at = one[1] + one[3] + APART_PX; }
    });
    return at;
  }

  return { begin: begin };
})();
