"use strict";
/* Unpacks what the page carries deflated (RFC 1951), so that no browser is too old for it. */

var UNPACK = {};

/* Codes by length, as section 3.2.2 of the RFC gives them: how many of each, and their symbols in order. */
UNPACK.codes = function (lengths) {
  var counts = new Uint16Array(16);
  var starts = new Uint16Array(16);
  var symbols = new Uint16Array(lengths.length);
  var k;
  for (k = 0; k < lengths.length; k += 1) { counts[lengths[k]] += 1; }
  counts[0] = 0;
  for (k = 1; k < 16; k += 1) { starts[k] = starts[k - 1] + counts[k - 1]; }
  for (k = 0; k < lengths.length; k += 1) {
    if (lengths[k]) { symbols[starts[lengths[k]]] = k; starts[lengths[k]] += 1; }
  }
  return { counts: counts, symbols: symbols, fast: UNPACK.fast(counts, symbols) };
};

/* What ten bits begin with: a symbol and its length, where the code is no longer than that. */
UNPACK.fast = function (counts, symbols) {
  var fast = new Uint16Array(1024);
  var code = 0, index = 0;
  for (var length = 1; length < 11; length += 1) {
    for (var k = 0; k < counts[length]; k += 1) {
      var turned = 0;
      for (var bit = 0; bit < length; bit += 1) { turned |= ((code >> bit) & 1) << (length - 1 - bit); }
      for (; turned < 1024; turned += 1 << length) { fast[turned] = symbols[index] << 4 | length; }
      index += 1;
      code += 1;
    }
    code <<= 1;
  }
  return fast;
};

/* Base and extra bits of lengths and distances, sections 3.2.5 and 3.2.7. */
UNPACK.steps = function (first, count, repeat, from) {
  var out = [];
  var base = from;
  for (var k = 0; k < count; k += 1) {
    var extra = Math.max(0, Math.floor((k - first) / repeat));
    out.push([base, extra]);
    base += 1 << extra;
  }
  return out;
};
UNPACK.LENGTHS = UNPACK.steps(4, 28, 4, 3).concat([[258, 0]]);
UNPACK.DISTANCES = UNPACK.steps(2, 30, 2, 1);
UNPACK.ORDER = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];

/* Bytes of a deflated stream, written into out. */
UNPACK.inflate = function (bytes, out) {
  var at = 0, held = 0, bits = 0, size = 0;
  function take(count) {
    while (held < count) { bits |= bytes[at] << held; at += 1; held += 8; }
    var value = bits & ((1 << count) - 1);
    bits >>>= count;
    held -= count;
    return value;
  }
  function symbol(codes) {
    while (held < 10) { bits |= bytes[at] << held; at += 1; held += 8; }
    var known = codes.fast[bits & 1023];
    if (known) {
      bits >>>= known & 15;
      held -= known & 15;
      return known >> 4;
    }
    var code = 0, first = 0, index = 0;
    for (var length = 1; length < 16; length += 1) {
      if (!held) { bits = bytes[at]; at += 1; held = 8; }
      code |= bits & 1;
      bits >>>= 1;
      held -= 1;
      var count = codes.counts[length];
      if (code - first < count) { return codes.symbols[index + code - first]; }
      index += count;
      first = (first + count) << 1;
      code <<= 1;
    }
    throw new Error("the page is damaged");
  }
  function tables() {
    var literal = take(5) + 257, distance = take(5) + 1, count = take(4) + 4, lengths = new Uint8Array(19), all = [];
    for (var k = 0; k < count; k += 1) { lengths[UNPACK.ORDER[k]] = take(3); }
    var codes = UNPACK.codes(lengths);
    while (all.length < literal + distance) {
      var found = symbol(codes), again = 1;
      if (found > 15) {
        again = found === 16 ? 3 + take(2) : found === 17 ? 3 + take(3) : 11 + take(7);
        found = found === 16 ? all[all.length - 1] : 0;
      }
      for (; again; again -= 1) { all.push(found); }
    }
    return [UNPACK.codes(all.slice(0, literal)), UNPACK.codes(all.slice(literal))];
  }
  function fixed() {
    var all = [];
    for (var k = 0; k < 288; k += 1) { all.push(k < 144 ? 8 : k < 256 ? 9 : k < 280 ? 7 : 8); }
    return [UNPACK.codes(all), UNPACK.codes(new Array(30).fill(5))];
  }
  function stored() {
    var length = bytes[at] | (bytes[at + 1] << 8);
    out.set(bytes.subarray(at + 4, at + 4 + length), size);
    at += 4 + length;
    size += length;
  }
  function block(pair) {
    for (var found = symbol(pair[0]); found !== 256; found = symbol(pair[0])) {
      if (found < 256) { out[size] = found; size += 1; continue; }
      var step = UNPACK.LENGTHS[found - 257], length = step[0] + take(step[1]);
      step = UNPACK.DISTANCES[symbol(pair[1])];
      for (var from = size - step[0] - take(step[1]); length; length -= 1) { out[size] = out[from]; size += 1; from += 1; }
    }
  }
  for (var last = 0; !last;) {
    last = take(1);
    var kind = take(2);
    if (kind) { block(kind === 1 ? fixed() : tables()); } else { at -= held >> 3; held = 0; bits = 0; stored(); }
  }
  return out;
};

UNPACK.bytes = function (base64) {
  var text = atob(base64);
  var bytes = new Uint8Array(text.length);
  for (var k = 0; k < text.length; k += 1) { bytes[k] = text.charCodeAt(k); }
  return bytes;
};

/* A packed text: four bytes of its size, then the stream. */
UNPACK.text = function (base64) {
  var bytes = UNPACK.bytes(base64);
  var size = new DataView(bytes.buffer).getUint32(0, true);
  return new TextDecoder().decode(UNPACK.inflate(bytes.subarray(4), new Uint8Array(size)));
};

/* Runs the page's own scripts: the policy of the page knows the hash of each, and no other runs. */
document.querySelectorAll("script.packed").forEach(function (block) {
  var script = document.createElement("script");
  script.textContent = UNPACK.text(block.textContent);
  document.body.replaceChild(script, block);
});
