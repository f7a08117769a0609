/*
 * The textures of the live picture from the packed files of the page: output/board_live.py packs them, and its comments tell
 * how. Nothing is fetched.
 */
const Unpack = (function () {
  "use strict";
  let files = {};

  /* Take the page's packed files: base64 by name. */
  function begin(packed) { files = packed; }

  function bytesOf(text) {
    const signs = atob(text), bytes = new Uint8Array(signs.length);
    for (let i = 0; i < signs.length; i += 1) { bytes[i] = signs.charCodeAt(i); }
    return bytes;
  }

  function inflated(bytes) {
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    return new Response(stream).arrayBuffer();
  }

  async function plain(plan) {
    const halves = new Uint8Array(await inflated(bytesOf(files[plan.file]))), count = halves.length / 2, found = new Uint8Array(2 * count);
    for (let i = 0; i < count; i += 1) {
      found[2 * i] = halves[i];
      found[2 * i + 1] = halves[count + i];
    }
    return found.buffer;
  }

  /* What Live.Solid.load asks for a picture's textures: a function of their hash. */
  function from(picture) {
    return function (hash) { return plain(picture.packed[hash]); };
  }

  return { begin: begin, from: from };
})();
