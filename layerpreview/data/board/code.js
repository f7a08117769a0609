/* The short code and the text in which a choice travels; the same rules as output/board_code.py. */
const Codes = (function () {
  "use strict";
  const DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  const TABLE = new Uint32Array(256).map(function (_, n) {
    for (let k = 0; k < 8; k += 1) {
      n = n & 1 ? (n >>> 1) ^ 0xedb88320 : n >>> 1;
    }
    return n;
  });

  function crcText(text) {
    let crc = 0xffffffff;
    new TextEncoder().encode(text).forEach(function (byte) {
      crc = (crc >>> 8) ^ TABLE[(crc ^ byte) & 255];
    });
    let number = (crc ^ 0xffffffff) >>> 0;
    let out = "";
    for (let place = 0; place < 7; place += 1) {
      out = DIGITS[number % 32] + out;
      number = Math.floor(number / 32);
    }
    return out;
  }

  function codeOf(board, option, coats, strengths) {
    /* keys in alphabetical order: this is the canonical JSON that is checked */
    const plain = JSON.stringify({ board: board, coats: coats, option: option, strength_percent: strengths });
    return ["LP", board, option, coats.join(".") || "0", strengths.join(".") || "N", crcText(plain)].join("-");
  }

  /* The same code in groups, as it is read out; Choice.grouped writes the same. */
  function grouped(code) {
    const parts = code.split("-");
    const lists = parts.slice(3, 5).map(function (list) { return list.replace(/\./g, " "); });
    const check = parts[5].slice(0, 4) + " " + parts[5].slice(4);
    return parts.slice(0, 3).concat(lists, [check]).join(" \u00b7 ");
  }

  function normalised(text) {
    return text
      .normalize("NFC")
      .split(/\r\n|\r|\n/)
      .map(function (line) { return line.replace(/^[> \t]+/, ""); })
      .join(" ")
      .replace(/[ \t\r\n\u00a0]+/g, " ")
      .replace(/^ +| +$/g, "");
  }

  function sealed(lines, ends) {
    const body = lines.join("\n");
    return body + "\n" + ends + " " + crcText(normalised(body)) + "\n";
  }

  return { codeOf: codeOf, crcText: crcText, grouped: grouped, normalised: normalised, sealed: sealed };
})();
