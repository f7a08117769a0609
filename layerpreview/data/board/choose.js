/* choose. */
const Choose = (function () {
  "use strict";
  function begin() { return null; }
  return { begin: begin };
})();
