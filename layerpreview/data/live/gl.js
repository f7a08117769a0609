/* What the live picture needs of WebGL 2: programs with their uniforms by name, textures of raw numbers, targets. */
const LiveGl = (function () {
  "use strict";
  const VERTEX = "#version 300 es\nin vec2 at; void main() { gl_Position = vec4(at, 0.0, 1.0); }";
  const HEAD = [
    "#version 300 es",
    "precision highp float;",
    "precision highp int;",
    "precision highp sampler2D;",
    "precision highp sampler2DArray;",
    "precision highp usampler2D;",
  ].join("\n");

  /* A triangle over everything: all that is drawn is drawn by it. */
  function begin(gl) {
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 3, -1, -1, 3]), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 2, gl.FLOAT, false, 0, 0);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.disable(gl.DITHER);
    gl.enable(gl.SCISSOR_TEST);
  }

  /* Programs by their text; compiled side by side, asked for when they are used. */
  function Programs(gl) {
    this.gl = gl;
    this.known = {};
  }

  Programs.prototype.of = function (lines) {
    const gl = this.gl, text = [HEAD].concat(lines).join("\n");
    if (!this.known[text]) {
      const program = gl.createProgram();
      [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, text]].forEach(function (pair) {
        const shader = gl.createShader(pair[0]);
        gl.shaderSource(shader, pair[1]);
        gl.compileShader(shader);
        gl.attachShader(program, shader);
        gl.deleteShader(shader);
      });
      gl.bindAttribLocation(program, 0, "at");
      gl.linkProgram(program);
      this.known[text] = { program: program, where: null, fragment: text };
    }
    return this.known[text];
  };

  /* Make programs ready one by one; where a browser can tell whether one is, the page is not kept waiting. */
  Programs.prototype.made = async function (programs) {
    const gl = this.gl, told = gl.getExtension("KHR_parallel_shader_compile");
    const later = function () { return new Promise(function (resolve) { setTimeout(resolve, 4); }); };
    for (const one of programs.filter(function (made) { return !made.where; })) {
      while (told && !gl.isContextLost() && !gl.getProgramParameter(one.program, told.COMPLETION_STATUS_KHR)) { await later(); }
      if (gl.isContextLost()) { return; }
      this.use(one);
      await later();
    }
  };

  /* Use a program; the locations of its uniforms by name. */
  Programs.prototype.use = function (made) {
    const gl = this.gl, program = made.program;
    if (!made.where) {
      if (!gl.getProgramParameter(program, gl.LINK_STATUS) && !gl.isContextLost()) {
        const told = gl.getAttachedShaders(program).map(function (s) { return gl.getShaderInfoLog(s); });
        throw new Error(told.concat(gl.getProgramInfoLog(program)).join("\n"));
      }
      made.where = {};
      const count = gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS) || 0;
      for (let i = 0; i < count; i += 1) {
        const name = gl.getActiveUniform(program, i).name;
        made.where[name.replace("[0]", "")] = gl.getUniformLocation(program, name);
      }
    }
    gl.useProgram(program);
    return made.where;
  };

  /* Bind textures, by the names of their samplers, in order. */
  function bind(gl, where, textures) {
    Object.keys(textures).forEach(function (name, unit) {
      if (!where[name]) { return; }
      gl.activeTexture(gl.TEXTURE0 + unit);
      gl.bindTexture(textures[name].target, textures[name].texture);
      gl.uniform1i(where[name], unit);
    });
  }

  /* Numbers and vectors, by name. */
  function uniforms(gl, where, values) {
    Object.keys(values).forEach(function (name) {
      const value = values[name], at = where[name];
      if (!at) { return; }
      if (typeof value === "number") { gl.uniform1f(at, value); } else { gl["uniform" + value.length + "fv"](at, value); }
    });
  }

  function formats(gl) {
    return {
      R16F: [gl.R16F, gl.RED, gl.HALF_FLOAT, Uint16Array], RG16F: [gl.RG16F, gl.RG, gl.HALF_FLOAT, Uint16Array],
      RGBA16F: [gl.RGBA16F, gl.RGBA, gl.HALF_FLOAT, Uint16Array], RGBA32F: [gl.RGBA32F, gl.RGBA, gl.FLOAT, Float32Array],
      R16UI: [gl.R16UI, gl.RED_INTEGER, gl.UNSIGNED_SHORT, Uint16Array], RG16UI: [gl.RG16UI, gl.RG_INTEGER, gl.UNSIGNED_SHORT, Uint16Array],
      RGBA32UI: [gl.RGBA32UI, gl.RGBA_INTEGER, gl.UNSIGNED_INT, Uint32Array], RG8: [gl.RG8, gl.RG, gl.UNSIGNED_BYTE, Uint8Array],
      RGBA8: [gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, Uint8Array],
    };
  }

  /* The number that 16 bits of half precision stand for. */
  function ofHalf(bits) {
    const sign = bits & 0x8000 ? -1 : 1, power = bits >> 10 & 31, rest = bits & 1023;
    return sign * (power ? Math.pow(2, power - 15) * (1 + rest / 1024) : Math.pow(2, -24) * rest);
  }

  /* A texture of `told` (format, width, height, depth) from raw bytes, or empty; straight between its places if it can. */
  function texture(gl, told, bytes) {
    const f = formats(gl)[told.format], depth = told.depth || 1, made = gl.createTexture();
    const target = depth > 1 ? gl.TEXTURE_2D_ARRAY : gl.TEXTURE_2D;
    const smooth = told.smooth !== false && /(16F|8)$/.test(told.format) ? gl.LINEAR : gl.NEAREST;
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(target, made);
    if (depth > 1) {
      gl.texStorage3D(target, 1, f[0], told.width, told.height, depth);
      if (bytes) { gl.texSubImage3D(target, 0, 0, 0, 0, told.width, told.height, depth, f[1], f[2], new f[3](bytes)); }
    } else {
      gl.texStorage2D(target, 1, f[0], told.width, told.height);
      if (bytes) { gl.texSubImage2D(target, 0, 0, 0, told.width, told.height, f[1], f[2], new f[3](bytes)); }
    }
    [[gl.TEXTURE_MIN_FILTER, smooth], [gl.TEXTURE_MAG_FILTER, smooth], [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]]
      .forEach(function (pair) { gl.texParameteri(target, pair[0], pair[1]); });
    return { texture: made, target: target, width: told.width, height: told.height };
  }

  /* Something to draw into: `count` textures of one format. */
  function target(gl, format, width, height, count) {
    const made = { frame: gl.createFramebuffer(), width: width, height: height, textures: [] };
    gl.bindFramebuffer(gl.FRAMEBUFFER, made.frame);
    for (let i = 0; i < count; i += 1) {
      made.textures.push(texture(gl, { format: format, width: width, height: height }, null));
      gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0 + i, gl.TEXTURE_2D, made.textures[i].texture, 0);
    }
    gl.drawBuffers(made.textures.map(function (_, i) { return gl.COLOR_ATTACHMENT0 + i; }));
    return made;
  }

  /* As `target`, one picture with a depth. */
  function deepTarget(gl, width, height) {
    const made = target(gl, "RGBA8", width, height, 1);
    made.depth = gl.createRenderbuffer();
    gl.bindRenderbuffer(gl.RENDERBUFFER, made.depth);
    gl.renderbufferStorage(gl.RENDERBUFFER, gl.DEPTH_COMPONENT16, width, height);
    gl.framebufferRenderbuffer(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.RENDERBUFFER, made.depth);
    return made;
  }

  function forget(gl, made) {
    if (!made) { return; }
    if (made.depth) { gl.deleteRenderbuffer(made.depth); }
    made.textures.forEach(function (t) { gl.deleteTexture(t.texture); });
    gl.deleteFramebuffer(made.frame);
  }

  /* Draw all of a box (from the lower left corner, pixels) of a target. */
  function fill(gl, made, box) {
    gl.bindFramebuffer(gl.FRAMEBUFFER, made.frame);
    gl.viewport(0, 0, made.width, made.height);
    gl.scissor(box[0], box[1], box[2], box[3]);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  const SHOW = [
    "uniform sampler2D uShown;",
    "uniform vec2 uSize;",
    "out vec4 outColour;",
    "void main() { outColour = vec4(textureLod(uShown, gl_FragCoord.xy / uSize, 0.0).rgb, 1.0); }",
  ].join("\n");

  /* Put a target onto the canvas, as large as that is. */
  function show(gl, programs, made) {
    const where = programs.use(programs.of(SHOW)), size = [gl.drawingBufferWidth, gl.drawingBufferHeight];
    bind(gl, where, { uShown: made.textures[0] });
    uniforms(gl, where, { uSize: size });
    fill(gl, { frame: null, width: size[0], height: size[1] }, [0, 0, size[0], size[1]]);
  }

  return { ofHalf: ofHalf, show: show, deepTarget: deepTarget, begin: begin, Programs: Programs, bind: bind, uniforms: uniforms, texture: texture, target: target, forget: forget, fill: fill };
})();
