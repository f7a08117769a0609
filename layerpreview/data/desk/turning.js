/* The hand on the desk's picture: see data/live/hand.js. */

import { byId } from "./dom.js";
import { asItStands, CLOSEST, FURTHEST, picture, turn } from "./picture.js";
import { look, store } from "./store.js";

/* `touched(place)` is called with what lies under a touch: {face, x_mm, y_mm}, or null beside the part. */
export function begin(touched) {
  const hand = new LiveHand.Hand(byId("view"), {
    pose: () => picture.pose, turn, stands: asItStands, least: FURTHEST, most: CLOSEST, touched: (x, y) => touched(under(x, y)),
  });
  byId("frame").tabIndex = 0;
  for (const name of ["picture", "frame"]) {
    byId(name).addEventListener("keydown", (event) => {
      if (hand.keyed(event) || event.key !== "Escape" || store.look.after === null) return;
      look({ after: null });
      event.preventDefault();
    });
  }
}

export function under(x, y) { return picture.live && picture.data ? picture.live.pick(x, y) : null; }
