/* depth. */
const Depth = (function () {
  "use strict";
  function begin() { return null; }
  return { begin: begin };
})();
