/* The bytes of textures out of the page itself: base64 of deflated numbers. */
const Unpack = (function () {
  "use strict";
  let files = {};

  /* `found`: texts by the names of textures. */
  function begin(found) { files = found; }

  /* The raw bytes of a texture, as `Live.Solid.load` asks for them. */
  async function bytes(name) {
    const plain = Uint8Array.from(atob(files[name]), function (sign) { return sign.charCodeAt(0); });
    return new Response(new Blob([plain]).stream().pipeThrough(new DecompressionStream("deflate"))).arrayBuffer();
  }

  return { begin: begin, bytes: bytes };
})();
