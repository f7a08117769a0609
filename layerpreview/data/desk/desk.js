/* The desk's page: puts its parts together. */

import { byId, setText } from "./dom.js";
import { edit, letGo, load, look, on, pull, store, watch } from "./store.js";
import * as background from "./background.js";
import * as bands from "./bands.js";
import * as bench from "./bench.js";
import * as beside from "./beside.js";
import * as closer from "./closer.js";
import * as evenness from "./evenness.js";
import * as figures from "./figures.js";
import * as first from "./first.js";
import * as give from "./give.js";
import * as judge from "./judge.js";
import * as learn from "./learn.js";
import * as marks from "./marks.js";
import * as mend from "./mend.js";
import * as mix from "./mix.js";
import * as picture from "./picture.js";
import { spot } from "./strips.js";
import * as section from "./section.js";
import * as turning from "./turning.js";
import * as versions from "./versions.js";

bands.begin();
await first.begin();
picture.begin();
section.begin();
turning.begin(marks.touched);
marks.begin();
beside.begin();
mix.begin();
figures.begin();
judge.begin();
closer.begin();
give.begin();
mend.begin();
versions.begin();
bench.begin();

on("state look picture judged", () => {
  if (!store.state || !store.state.coats) return;
  if (!picture.picture.shown) return;
  const words = `${section.stageWords()}, ${judge.aroundWords(store.look.around)}, ${judge.lightWords(store.look.light || store.state.lights[0])}${judge.besideWords()}`;
  const over = evenness.overWords(), stage = store.look.after === null ? "" : `, ${section.stageWords()}`;
  if (!document.body.dataset.waiting) setText(byId("seen"), over ? `${over}${stage}${judge.besideWords()}` : words);
  byId("seen").classList.toggle("other", Boolean(over));
  byId("picture").setAttribute("aria-label", `${store.state.name}: ${over ? `${over}; ` : ""}${words}. Arrow keys turn it, plus and minus bring it closer, Home sets it back.`);
  byId("frame").alt = `${store.state.name}: ${words}`;
});

/* What tests and curious people look at. */
window.desk = { store, look, edit, pull, letGo, spot, picture: picture.picture };

load().then(() => {
  watch();
  background.pickUp({ ...closer.pickedUp, ...give.pickedUp, ...learn.pickedUp, ...mend.pickedUp });
});
