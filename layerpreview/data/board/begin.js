/* The page begins. */
(function () {
  "use strict";
  const root = document.documentElement;
  root.classList.add("scripted");
  Words.begin();
  Choose.begin();
  try {
    Stage.begin();
    root.classList.remove("plain");
    document.getElementById("live").hidden = false;
    [Tiles, Controls].forEach(function (part) { part.begin(); });
    Stage.show();
  } catch (error) {
    root.classList.add("plain");
    document.getElementById("live").hidden = true;
    Words.put(document.getElementById("notice"), Store.words.no_live);
    document.getElementById("notice").dataset.t = "no_live";
  }
})();
