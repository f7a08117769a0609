/* controls. */
const Controls = (function () {
  "use strict";
  function begin() { return null; }
  return { begin: begin };
})();
