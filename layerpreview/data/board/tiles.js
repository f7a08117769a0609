/* tiles. */
const Tiles = (function () {
  "use strict";
  function begin() { return null; }
  return { begin: begin };
})();
