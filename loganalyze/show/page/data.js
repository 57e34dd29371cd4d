// The columns of a flight: unpacked when they are wanted, and thinned to what a screen can show.
"use strict";

const WORDS = {f8: BigUint64Array, f4: Int32Array, u1: Uint8Array};
const VALUES = {f8: Float64Array, f4: Float32Array, u1: Uint8Array};
const UNKNOWN = -(2 ** 31);

// Undo what the page's maker did (see packing.py): base64, gzip, bytes sorted by significance,
// signs in the lowest bit, and each sample less what was foretold of it. `other` is the column
// that this one follows, if any.
async function unpacked(text, how, rows, other) {
  const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const planes = new Uint8Array(await new Response(stream).arrayBuffer());
  const width = WORDS[how.kind].BYTES_PER_ELEMENT;
  const bytes = new Uint8Array(rows * width);
  for (let plane = 0; plane < width; plane++) {
    for (let row = 0, from = plane * rows; row < rows; row++) {
      bytes[row * width + plane] = planes[from + row];
    }
  }
  const words = new WORDS[how.kind](bytes.buffer), values = new VALUES[how.kind](bytes.buffer);
  if (how.kind !== "f4") {
    for (let row = 1; row < rows; row++) words[row] += words[row - 1];
    return values;
  }
  for (let row = 0; row < rows; row++) words[row] = (words[row] >>> 1) ^ -(words[row] & 1);
  if (how.decimals !== undefined) {
    const unit = 10 ** how.decimals;
    for (let row = 0, whole = 0; row < rows; row++) {
      whole = (whole + words[row]) | 0;
      values[row] = whole === UNKNOWN ? NaN : whole / unit;
    }
  } else if (how.by) {
    const expected = new Float32Array(1), bits = new Int32Array(expected.buffer);
    for (let row = 0; row < rows; row++) {
      expected[0] = how.by === "same" ? other[row] : row === 0 ? NaN
        : how.by === "less" ? values[row - 1] - (other[row] - other[row - 1])
        : other[row] * (values[row - 1] / other[row - 1]);
      words[row] += Number.isFinite(expected[0]) ? bits[0] : row === 0 ? 0 : words[row - 1];
    }
  } else {
    for (let row = 1; row < rows; row++) words[row] += words[row - 1];
  }
  return values;
}

// The first row at or after a time.
function rowAt(time, instant) {
  let low = 0, high = time.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (time[middle] < instant) low = middle + 1; else high = middle;
  }
  return low;
}

function nearestRow(time, instant) {
  const after = Math.min(rowAt(time, instant), time.length - 1);
  const before = Math.max(after - 1, 0);
  return instant - time[before] < time[after] - instant ? before : after;
}

// What a plot `width` pixels wide needs of some traces between two times: every sample when they
// are few, else the least and the greatest of each pixel's, so that no peak is lost. A gap in the
// samples longer than `reach` breaks the lines. Gives [times, values, values, ...] with nulls.
function thinned(time, traces, from, to, width, reach) {
  const first = Math.max(rowAt(time, from) - 1, 0);
  const stop = Math.min(rowAt(time, to) + 2, time.length);
  return stop - first <= 4 * width
    ? whole(time, traces, first, stop, reach)
    : leastAndGreatest(time, traces, first, stop, width, reach);
}

function whole(time, traces, first, stop, reach) {
  const times = [], lines = traces.map(() => []);
  for (let row = first; row < stop; row++) {
    if (row > first && time[row] - time[row - 1] > reach) {
      times.push((time[row] + time[row - 1]) / 2);
      for (const line of lines) line.push(null);
    }
    times.push(time[row]);
    for (let i = 0; i < traces.length; i++) {
      const value = traces[i](row);
      lines[i].push(value === value ? value : null);
    }
  }
  return [times, ...lines];
}

function leastAndGreatest(time, traces, first, stop, width, reach) {
  const times = [], lines = traces.map(() => []);
  const start = time[first], step = (time[stop - 1] - start) / width;
  for (let bin = 0, row = first; bin < width; bin++) {
    const begin = row, end = start + (bin + 1) * step;
    if (bin === width - 1) row = stop;
    else while (row < stop && time[row] < end) row++;
    const broken = begin > first && time[begin] - time[begin - 1] > Math.max(reach, step);
    if (broken || row === begin) {
      times.push(start + bin * step);
      for (const line of lines) line.push(null);
    }
    if (row === begin) continue;
    // Within its own samples' times, so that no line is drawn into a gap.
    const low = time[begin], wide = time[row - 1] - low;
    times.push(low + wide / 4, low + 3 * wide / 4);
    for (let i = 0; i < traces.length; i++) {
      let least = Infinity, greatest = -Infinity, earliest = NaN, latest = NaN;
      for (let at = begin; at < row; at++) {
        const value = traces[i](at);
        if (value !== value) continue;
        if (earliest !== earliest) earliest = value;
        latest = value;
        if (value < least) least = value;
        if (value > greatest) greatest = value;
      }
      if (least === Infinity) lines[i].push(null, null);
      else if (latest >= earliest) lines[i].push(least, greatest);
      else lines[i].push(greatest, least);
    }
  }
  return [times, ...lines];
}
