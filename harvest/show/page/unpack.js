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
    layer[section.name] = unpackedSection[section.kind](streams, section, header.rows);
  }
  return layer;
}

async function inflated(base64) {
  const packed = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

const unpackedSection = {
  number([stream], section) {
    const scale = 10 ** section.decimals;
    return Float64Array.from(varints(stream), (code) => (code === 0 ? NaN : unzigzag(code - 1) / scale));
  },

  word([stream], section) {
    return Array.from(varints(stream), (code) => (code === 0 ? null : section.words[code - 1]));
  },

  text([stream], section, rows) {
    return rows === 0 ? [] : new TextDecoder().decode(stream).split("\x1f").map((text) => text || null);
  },

  /*
   * x and y hold every position in pixels of the world at zoom 20. The rings of a row run from firstRing[row]
   * to firstRing[row + 1], the positions of a ring from firstPosition[ring] to firstPosition[ring + 1].
   */
  outlines([ringsOfRow, positionsOfRing, across, down]) {
    const firstRing = runningSum(varints(ringsOfRow));
    const firstPosition = runningSum(varints(positionsOfRing));
    return {
      firstRing,
      firstPosition,
      x: positions(varints(across), firstPosition),
      y: positions(varints(down), firstPosition),
    };
  },
};

/** Whole numbers, seven bits a byte, low bits first. Multiplied rather than shifted: they may pass 32 bits. */
function varints(bytes) {
  const numbers = [];
  let number = 0;
  let weight = 1;
  for (const byte of bytes) {
    number += (byte & 0x7f) * weight;
    if (byte & 0x80) {
      weight *= 128;
    } else {
      numbers.push(number);
      number = 0;
      weight = 1;
    }
  }
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

/** Steps added up: inside a ring from position to position, between rings from start to start. */
function positions(steps, firstPosition) {
  const found = new Float64Array(steps.length);
  let start = 0;
  for (let ring = 0; ring + 1 < firstPosition.length; ring++) {
    let at = start;
    for (let i = firstPosition[ring]; i < firstPosition[ring + 1]; i++) {
      at += unzigzag(steps[i]);
      found[i] = at;
      if (i === firstPosition[ring]) start = at;
    }
  }
  return found;
}
