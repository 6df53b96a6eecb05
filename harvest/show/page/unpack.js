"use strict";

/*
 * Reads a layer's block: the other half of the writer's block.py, where the format is described.
 */

/**
 * The rows, outlines and columns of the block in the element with this id, each read when first looked at; `sections`
 * holds what the header says of each.
 */
async function unpackedLayer(id) {
  const bytes = await inflated(document.getElementById(id).textContent);
  const headerEnd = 4 + new DataView(bytes.buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(bytes.subarray(4, headerEnd)));
  const layer = { rows: header.rows, sections: Object.fromEntries(header.sections.map((one) => [one.name, one])) };
  let at = headerEnd;
  for (const section of header.sections) {
    const streams = section.bytes.map((length) => bytes.subarray(at, (at += length)));
    lazily(layer, section.name, () => unpackedSection[section.kind](streams, section, layer));
  }
  return layer;
}

/** Gives `object` the property `name`, made when first looked at. */
function lazily(object, name, make) {
  let made = null;
  Object.defineProperty(object, name, { get: () => (made ??= make()), enumerable: true });
}

async function inflated(base64) {
  const stream = new Blob([bytesOf(base64)]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Letter by letter, which takes ten times as long, in browsers from before 2025. */
function bytesOf(base64) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(base64);
  const letters = atob(base64);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < bytes.length; i++) bytes[i] = letters.charCodeAt(i);
  return bytes;
}

const unpackedSection = {
  number([stream], { decimals, guide, factor, order }, layer) {
    const scale = 10 ** decimals;
    const numbers = varints(stream, layer.rows);
    const leader = guide ? layer[guide] : null;
    const places = order ? placesBy(leader, layer.sections[guide].decimals) : null;
    for (let row = 0; row < numbers.length; row++) {
      const code = numbers[row];
      let expected = places ? places[row] * scale : 0;
      if (factor && leader[row] === leader[row]) expected = Math.floor(leader[row] * factor * scale + 0.5);
      numbers[row] = code === 0 ? NaN : (unzigzag(code - 1) + expected) / scale;
    }
    return numbers;
  },

  word([stream], { words }, layer) {
    const texts = [null, ...words];
    const codes = varints(stream, layer.rows);
    const column = new Array(layer.rows);
    for (let row = 0; row < column.length; row++) column[row] = texts[codes[row]];
    return column;
  },

  text([stream], section, { rows }) {
    return rows === 0 ? [] : new TextDecoder().decode(stream).split("\x1f").map((text) => text || null);
  },

  outlines: (streams, section, layer) => new Outlines(unpackedShapes(streams, layer.rows, true)),
  lines: (streams, section, layer) => new Lines(unpackedShapes(streams, layer.rows, false)),
};

/*
 * x and y hold every position in pixels of the world at zoom 20. The rings or lines of a row run from
 * firstRing[row] to firstRing[row + 1], the positions of one from firstPosition[ring] to firstPosition[ring + 1].
 */
function unpackedShapes([ringsOfRow, positionsOfRing, across, down], rows, closed) {
  const firstRing = runningSum(varints(ringsOfRow, rows));
  const firstPosition = runningSum(varints(positionsOfRing, firstRing[rows]));
  const count = firstPosition[firstPosition.length - 1];
  return {
    firstRing,
    firstPosition,
    x: positions(varints(across, count), firstPosition, closed),
    y: positions(varints(down, count), firstPosition, closed),
  };
}

/** `count` whole numbers, seven bits a byte, low bits first. Multiplied rather than shifted: they may pass 32 bits. */
function varints(bytes, count) {
  const numbers = new Float64Array(count);
  let at = 0;
  let number = 0;
  let weight = 1;
  for (let i = 0; i < bytes.length; i++) {
    const byte = bytes[i];
    if (byte & 0x80) {
      number += (byte & 0x7f) * weight;
      weight *= 128;
    } else {
      numbers[at++] = number + byte * weight;
      number = 0;
      weight = 1;
    }
  }
  if (at !== count) throw new Error("a stream has " + at + " numbers, not " + count);
  return numbers;
}

/** 0, 1, 2, 3, … as 0, -1, 1, -2, … */
function unzigzag(code) {
  if (code < 2 ** 31) return (code >>> 1) ^ -(code & 1);
  return code % 2 ? -(code + 1) / 2 : code / 2;
}

function runningSum(counts) {
  const sums = new Uint32Array(counts.length + 1);
  counts.forEach((count, i) => {
    sums[i + 1] = sums[i] + count;
  });
  return sums;
}

/** The place of each row when rows are sorted by `values` of so many decimals, the greatest first; missing are 0. */
function placesBy(values, decimals) {
  const scale = 10 ** decimals;
  const last = values.length - 1;
  const backwards = new Float64Array(values.length); // so that rows of one value end up in their own order
  for (let row = 0; row <= last; row++) backwards[last - row] = Math.round((values[row] || 0) * scale);
  const places = new Uint32Array(values.length);
  rowsBy(backwards).forEach((at, i) => {
    places[last - at] = values.length - i;
  });
  return places;
}

/**
 * The rows by their `keys`, whole numbers from 0, the least first; those of one key stay in their own order. Sorted by
 * 16 bits at a time, the lowest first: many times faster than by comparing rows.
 */
function rowsBy(keys) {
  const count = keys.length;
  let rows = new Uint32Array(count);
  let most = 0;
  for (let row = 0; row < count; row++) {
    rows[row] = row;
    if (keys[row] > most) most = keys[row];
  }
  for (let unit = 1; unit <= most; unit *= 2 ** 16) {
    const next = new Uint32Array(2 ** 16 + 1); // where the next row with this digit goes
    for (let row = 0; row < count; row++) next[((keys[row] / unit) & 0xffff) + 1]++;
    for (let digit = 1; digit < next.length; digit++) next[digit] += next[digit - 1];
    const sorted = new Uint32Array(count);
    for (let i = 0; i < count; i++) sorted[next[(keys[rows[i]] / unit) & 0xffff]++] = rows[i];
    rows = sorted;
  }
  return rows;
}

/**
 * Steps added up in place: between rings from start to start, inside one from position to position. In closed rings
 * each step is first put back to what it was before the writer took off what it expected.
 */
function positions(steps, firstPosition, closed) {
  let start = 0;
  let before = [0, 0, 0]; // steps 1 and 2 of the ring before
  for (let ring = 0; ring + 1 < firstPosition.length; ring++) {
    const from = firstPosition[ring];
    const own = [0, 0, 0];
    let [at, last, lastButOne] = [start, 0, 0];
    for (let i = from; i < firstPosition[ring + 1]; i++) {
      const place = i - from;
      let step = unzigzag(steps[i]);
      if (closed && place > 2) step -= lastButOne;
      else if (closed && place > 0) step += before[place];
      if (place === 1 || place === 2) own[place] = step;
      at += step;
      steps[i] = at;
      if (place === 0) start = at;
      lastButOne = last;
      last = step;
    }
    before = own;
  }
  return steps;
}
