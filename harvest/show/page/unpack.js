"use strict";

/*
 * Reads a layer's block: the other half of the writer's block.py, where the format is described.
 */

/** The rows, outlines and columns of the block in the element with this id. */
async function unpackedLayer(id) {
  const bytes = await inflated(document.getElementById(id).textContent);
  const headerEnd = 4 + new DataView(bytes.buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(bytes.subarray(4, headerEnd)));
  const layer = { rows: header.rows };
  let at = headerEnd;
  for (const section of header.sections) {
    const streams = section.bytes.map((length) => bytes.subarray(at, (at += length)));
    layer[section.name] = unpackedSection[section.kind](streams, section, layer);
  }
  return layer;
}

async function inflated(base64) {
  const packed = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

const unpackedSection = {
  number([stream], { decimals, guide, factor }, layer) {
    const scale = 10 ** decimals;
    const numbers = varints(stream, layer.rows);
    const leader = guide ? layer[guide] : null;
    for (let row = 0; row < numbers.length; row++) {
      const code = numbers[row];
      const expected = leader && leader[row] === leader[row] ? Math.floor(leader[row] * factor * scale + 0.5) : 0;
      numbers[row] = code === 0 ? NaN : (unzigzag(code - 1) + expected) / scale;
    }
    return numbers;
  },

  word([stream], { words }, layer) {
    return Array.from(varints(stream, layer.rows), (code) => (code === 0 ? null : words[code - 1]));
  },

  text([stream], section, { rows }) {
    return rows === 0 ? [] : new TextDecoder().decode(stream).split("\x1f").map((text) => text || null);
  },

  outlines: unpackedShapes,
  lines: unpackedShapes,
};

/*
 * x and y hold every position in pixels of the world at zoom 20. The rings or lines of a row run from
 * firstRing[row] to firstRing[row + 1], the positions of one from firstPosition[ring] to firstPosition[ring + 1].
 */
function unpackedShapes([ringsOfRow, positionsOfRing, across, down], section, { rows }) {
  const firstRing = runningSum(varints(ringsOfRow, rows));
  const firstPosition = runningSum(varints(positionsOfRing, firstRing[rows]));
  const count = firstPosition[firstPosition.length - 1];
  return {
    firstRing,
    firstPosition,
    x: positions(varints(across, count), firstPosition),
    y: positions(varints(down, count), firstPosition),
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
    number += (byte & 0x7f) * weight;
    if (byte & 0x80) {
      weight *= 128;
    } else {
      numbers[at++] = number;
      number = 0;
      weight = 1;
    }
  }
  if (at !== count) throw new Error("a stream has " + at + " numbers, not " + count);
  return numbers;
}

/** 0, 1, 2, 3, … as 0, -1, 1, -2, … */
function unzigzag(code) {
  return code % 2 ? -(code + 1) / 2 : code / 2;
}

function runningSum(counts) {
  const sums = new Uint32Array(counts.length + 1);
  counts.forEach((count, i) => {
    sums[i + 1] = sums[i] + count;
  });
  return sums;
}

/** Steps added up in place: inside a ring from position to position, between rings from start to start. */
function positions(steps, firstPosition) {
  let start = 0;
  for (let ring = 0; ring + 1 < firstPosition.length; ring++) {
    let at = start;
    for (let i = firstPosition[ring]; i < firstPosition[ring + 1]; i++) {
      at += unzigzag(steps[i]);
      steps[i] = at;
      if (i === firstPosition[ring]) start = at;
    }
  }
  return steps;
}
