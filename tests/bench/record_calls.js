/*
 * Runs before a page's own scripts and notes every call of WebGL 2 that changes something: its name, its arguments, the
 * number of what it gives. Objects have numbers, arrays are kept beside. For record_frames.py.
 */
(() => {
  "use strict";
  const kind = WebGL2RenderingContext.prototype, numbers = new WeakMap(), rec = { calls: [], arrays: [], gl: null };
  const ASKING = /^(get|is|read|finish|flush|constructor)/;
  let count = 0, inside = false;
  window.rec = rec;

  function number(thing) {
    if (!numbers.has(thing)) { numbers.set(thing, count += 1); }
    return numbers.get(thing);
  }

  function keep(array) {
    return rec.arrays.push(new Uint8Array(array.buffer.slice(array.byteOffset, array.byteOffset + array.byteLength))) - 1;
  }

  function told(value, name) {
    if (Array.isArray(value)) {
      if (!/fv$/.test(name)) { return value; }
      value = new Float32Array(value);
    }
    if (ArrayBuffer.isView(value)) { return { array: keep(value), length: value.length, bytes: value.byteLength }; }
    if (value && typeof value === "object") { return { object: number(value) }; }
    return typeof value === "boolean" ? Number(value) : value === undefined ? null : value;
  }

  /* An image given to texImage2D, read back from its texture, so that it needs no decoding a second time. */
  function readBack(gl, [target, level, inner, format, type, image]) {
    const width = image.naturalWidth || image.width, height = image.naturalHeight || image.height;
    const four = new Uint8Array(4 * width * height), before = gl.getParameter(gl.FRAMEBUFFER_BINDING), frame = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, target, gl.getParameter(gl.TEXTURE_BINDING_2D), level);
    gl.readPixels(0, 0, width, height, gl.RGBA, gl.UNSIGNED_BYTE, four);
    gl.bindFramebuffer(gl.FRAMEBUFFER, before);
    gl.deleteFramebuffer(frame);
    return [target, level, inner, width, height, 0, format, type, format === gl.RED ? four.filter((_, i) => i % 4 === 0) : four];
  }

  Object.getOwnPropertyNames(kind).forEach((name) => {
    const does = Object.getOwnPropertyDescriptor(kind, name).value;
    if (typeof does !== "function" || (ASKING.test(name) && name !== "getUniformLocation")) { return; }
    kind[name] = function (...given) {
      if (inside) { return does.apply(this, given); }
      inside = true;
      rec.gl = this;
      const found = does.apply(this, given);
      const args = name === "texImage2D" && given.length === 6 ? readBack(this, given) : given;
      rec.calls.push([name, args.map((value) => told(value, name)), found && typeof found === "object" ? number(found) : null]);
      inside = false;
      return found;
    };
  });

  /* The calls since this was asked last. */
  rec.taken = () => rec.calls.splice(0);

  /* The calls of one frame, and what the canvas shows after it. */
  rec.frame = (draw) => {
    rec.taken();
    draw();
    const gl = rec.gl, calls = rec.taken(), width = gl.drawingBufferWidth, height = gl.drawingBufferHeight;
    const four = new Uint8Array(4 * width * height);
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    gl.readPixels(0, 0, width, height, gl.RGBA, gl.UNSIGNED_BYTE, four);
    rec.taken();
    return { calls, width, height, shown: keep(four) };
  };

  /* An array's bytes as base64, once. */
  rec.array = (i) => {
    const bytes = rec.arrays[i];
    let text = "";
    for (let k = 0; k < bytes.length; k += 32768) { text += String.fromCharCode.apply(null, bytes.subarray(k, k + 32768)); }
    rec.arrays[i] = null;
    return btoa(text);
  };
})();
