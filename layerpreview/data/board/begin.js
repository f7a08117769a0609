/* On paper the figures stand at the end, whether they are folded on the screen or not. */
const Paper = (function () {
  "use strict";
  const figures = document.getElementById("figures");
  let was = false;

  function begin() {
    window.addEventListener("beforeprint", function () { was = figures.open; figures.open = true; });
    window.addEventListener("afterprint", function () { figures.open = was; });
  }

  return { begin: begin };
})();

/* The page begins. */
(function () {
  "use strict";
  const root = document.documentElement;
  root.classList.add("scripted");
  Words.begin();
  Choose.begin();
  Paper.begin();
  try {
    Stage.begin();
    root.classList.remove("plain");
    document.getElementById("live").hidden = false;
    [Tiles, Controls].forEach(function (part) { part.begin(); });
    Stage.show();
  } catch (error) {
    Stage.plain();
  }
})();
