/* The page begins. */
(function () {
  "use strict";
  const root = document.documentElement;
  root.classList.add("scripted");
  try {
    Stage.begin();
    root.classList.remove("plain");
    document.getElementById("live").hidden = false;
    [Tiles, Depth, Controls, Choose].forEach(function (part) { part.begin(); });
    Stage.show();
  } catch (error) {
    root.classList.add("plain");
    document.getElementById("live").hidden = true;
  }
})();
