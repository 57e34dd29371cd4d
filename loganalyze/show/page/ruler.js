// The speed ruler: what the airspeed indicator showed at the cursor. The speed stands above a
// straight ruler, the limit pointer below it, each with an arrow from where it stood 10 s before.
"use strict";

// The change over the window's length of the straight line that fits the last seconds best, or why
// there is none: the same rule as the report's own figures (see dial_reading.py).
function trendOf(time, values, row, interval, how) {
  const now = time[row], reach = interval > 0 ? how.held * interval : Infinity;
  if (!Number.isFinite(values[row])) return {change: NaN, why: "unknown"};
  const first = rowAt(time, now - how.window - 1e-9);
  if (time[0] > now - how.window + Math.min(reach, how.window)) return {change: NaN, why: "start"};
  let before = Math.max(now - how.window, time[0]), middle = 0, mean = 0;
  const count = row - first + 1;
  for (let at = first; at <= row; at++) {
    if (values[at] !== values[at] || time[at] - before > reach) return {change: NaN, why: "gap"};
    before = time[at];
    middle += time[at];
    mean += values[at];
  }
  if (count < how.least) return {change: NaN, why: "slow"};
  middle /= count;
  mean /= count;
  let along = 0, across = 0;
  for (let at = first; at <= row; at++) {
    const off = time[at] - middle;
    along += off * (values[at] - mean);
    across += off * off;
  }
  return {change: along / across * how.window, why: ""};
}

// Where a ruler begins and ends that holds all marks: by tens, and as short as they allow.
function rulerSpan(marks, how) {
  const known = marks.filter(Number.isFinite);
  const low = Math.min(...known, ...(known.length ? [] : [0])) - how.edge;
  const high = Math.max(...known, ...(known.length ? [] : [0])) + how.edge;
  for (let length = how.narrowest; ; length *= 2) {
    const tens = Math.floor((low + high - length) / 2 / how.labelled + 0.5) * how.labelled;
    const start = Math.max(tens, 0);
    if (start <= Math.max(low, 0) && high <= start + length) return [start, start + length];
  }
}

// To a tenth, a tie to the even digit, as the report's own figures and sentences.
function tenths(value) {
  const scaled = Math.abs(value) * 10;
  let whole = Math.round(scaled);
  if (scaled % 1 === 0.5 && whole % 2) whole -= 1;
  return (value < 0 && whole ? "\u2212" : "") + (whole / 10).toFixed(1);
}

function speedRuler(about, columns, go) {
  const how = about.ruler, said = how.words, HIGH = 118, TOP = 42, BODY = 34;
  const put = (pattern, parts) => pattern.replace(/\{(\w+)\}/g, (_, name) => parts[name]);
  const drawn = (name, attributes, text) => {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    if (text !== undefined) one.textContent = text;
    return one;
  };
  const node = (name, attributes, ...children) => {
    const one = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) one.setAttribute(key, value);
    one.append(...children);
    return one;
  };
  const svg = drawn("svg", {class: "ruler", "aria-hidden": "true", height: HIGH});
  const when = node("span", {class: "when"}), first = node("p", {class: "reads"});
  const second = node("p", {class: "trend"}), third = node("p", {class: "unseen"});
  const bar = node("div", {class: "controls"});
  const element = node("div", {class: "crew", role: "group", tabindex: 0,
    "aria-label": `${said.title}. ${said.keys}`},
    node("p", {class: "crew-title"}, node("b", {}, said.title), when), svg, first, second, third,
    bar);
  const step = (seconds) => {
    const time = columns.time_s, here = row;
    let there = nearestRow(time, time[here] + seconds);
    if (there === here) there = here + Math.sign(seconds);
    go(Math.min(Math.max(there, 0), about.rows - 1));
  };
  for (const [key, seconds] of [["back_10", -10], ["back_1", -1], ["on_1", 1], ["on_10", 10]]) {
    const button = node("button", {type: "button"}, said[key]);
    button.addEventListener("click", () => step(seconds));
    bar.append(button);
  }
  const KEYS = {ArrowLeft: -1, ArrowRight: 1, PageUp: -10, PageDown: 10};
  element.addEventListener("keydown", (event) => {
    if (event.key in KEYS) step(KEYS[event.key]);
    else if (event.key === "Home") go(0);
    else if (event.key === "End") go(about.rows - 1);
    else return;
    event.preventDefault();
  });
  // Read out while it is stepped through, and not while the mouse moves over the charts.
  element.addEventListener("focusin", () => first.setAttribute("aria-live", "polite"));
  element.addEventListener("focusout", () => first.removeAttribute("aria-live"));
  let row = 0, shown = "";

  const change = (trend, some, none) => {
    if (trend.why) return put(none, {why: how.why[trend.why]});
    const text = tenths(trend.change * how.factor), still = tenths(Math.abs(trend.change)
      * how.factor) === "0.0";
    return put(some, {change: still ? said.steady
      : `${trend.change > 0 ? "+" : ""}${text} ${how.unit}`});
  };

  function words(speed, pointer, speedTrend, pointerTrend) {
    const knows = Number.isFinite;
    const speedWords = knows(speed) ? put(said.speed, {speed: `${tenths(speed)} ${how.unit}`,
      letters: how.letters}) : said.no_speed;
    const pointerWords = knows(pointer)
      ? put(said.pointer, {pointer: `${tenths(pointer)} ${how.unit}`}) : said.no_pointer;
    const margin = pointer - speed, by = `${tenths(Math.abs(margin))} ${how.unit}`;
    const ending = knows(margin) ? `: ${put(margin >= 0 ? said.under : said.over, {by})}.` : ".";
    const line = `${speedWords}, ${pointerWords}${ending}`;
    first.textContent = line[0].toUpperCase() + line.slice(1);
    second.textContent = speedTrend.why && speedTrend.why === pointerTrend.why
      ? put(said.no_trend, {why: how.why[speedTrend.why]})
      : put(said.trend, {
        speed: change(speedTrend, said.speed_trend, said.no_speed_trend),
        pointer: change(pointerTrend, said.pointer_trend, said.no_pointer_trend)});
    const governing = columns.governing_limit[row], name = about.codes.governing_limit[governing];
    third.textContent = [
      name !== undefined && !how.shown.includes(governing) ? put(said.unseen, {limit: name}) : "",
      how.calibrated ? said.calibrated : ""].filter(Boolean).join(" ");
  }

  function draw(speed, pointer, speedBefore, pointerBefore) {
    const wide = Math.max(element.clientWidth - 30, 240);
    const [start, end] = rulerSpan([speed, pointer, speedBefore, pointerBefore], how);
    const at = (value) => 12 + (value - start) / (end - start) * (wide - 24);
    svg.setAttribute("width", wide);
    svg.setAttribute("viewBox", `0 0 ${wide} ${HIGH}`);
    const parts = [drawn("rect", {class: "body", x: at(start), y: TOP, width: at(end) - at(start),
                                  height: BODY})];
    if (pointer < end) {
      parts.push(drawn("rect", {class: "beyond", x: at(pointer), y: TOP,
                                width: at(end) - at(pointer), height: BODY}));
      let hatch = "";
      for (let x = at(pointer) - BODY; x < at(end); x += 7) {
        const low = Math.max(x, at(pointer)), high = Math.min(x + BODY, at(end));
        hatch += `M${low} ${TOP + BODY - (low - x)}L${high} ${TOP + BODY - (high - x)}`;
      }
      parts.push(drawn("path", {class: "beyond-line", d: hatch}),
        drawn("path", {class: "strokes", "stroke-width": 3,
                       d: `M${at(pointer)} ${TOP}V${TOP + BODY}`}));
    }
    const each = (end - start) / (wide - 24) < 0.3 ? 1 : 5;
    const numbers = (end - start) / (wide - 24) < 0.3 ? how.labelled : 2 * how.labelled;
    let strokes = "";
    for (let value = start; value <= end; value += each) {
      const long = value % how.labelled === 0 ? 9 : value % 5 === 0 ? 7 : 4;
      strokes += `M${at(value)} ${TOP}v${long}`;
      if ((value - start) % numbers === 0) {
        parts.push(drawn("text", {class: "number", x: at(value), y: TOP + 26,
                                  "data-value": value}, String(value)));
      }
    }
    parts.push(drawn("path", {class: "strokes", d: strokes}));
    for (const [name, now, before, side, text] of [
      ["speed", speed, speedBefore, -1, said.speed_mark],
      ["pointer", pointer, pointerBefore, 1, said.pointer_mark]]) {
      if (!Number.isFinite(now)) continue;
      const x = at(now), edge = side < 0 ? TOP : TOP + BODY, lane = edge + side * 19;
      parts.push(drawn("path", {class: name, "data-mark": name, "data-x": x,
                                d: `M${x} ${edge + side}l-6 ${side * 11}h12z`}));
      const from = at(before);
      if (Math.abs(x - from) > 3) {
        const tip = Math.sign(x - from);
        parts.push(drawn("path", {class: `way ${name}`, "data-from": from,
          d: `M${from} ${lane}H${x}m${-5 * tip} -4L${x} ${lane}l${-5 * tip} 4`}),
          drawn("circle", {class: `way ${name}`, cx: from, cy: lane, r: 3}));
      }
      const left = x < wide / 2;
      const label = drawn("text", {class: `mark ${name}`, x: x + (left ? -6 : 6),
                                   y: edge + side * 32 + (side < 0 ? 2 : 8)},
        put(text, {value: tenths(now)}));
      label.setAttribute("text-anchor", left ? "start" : "end");
      parts.push(label);
    }
    svg.replaceChildren(...parts);
  }

  function show(at, clock) {
    row = at;
    shown = clock;
    const {[how.speed]: speeds, [how.pointer]: pointers, time_s: time} = columns;
    const speedTrend = trendOf(time, speeds, row, about.interval, how);
    const pointerTrend = trendOf(time, pointers, row, about.interval, how);
    const speed = speeds[row] * how.factor, pointer = pointers[row] * how.factor;
    when.textContent = clock;
    Object.assign(element.dataset, {speed: speeds[row], pointer: pointers[row],
      speedTrend: speedTrend.change, pointerTrend: pointerTrend.change});
    words(speed, pointer, speedTrend, pointerTrend);
    draw(speed, pointer, speed - speedTrend.change * how.factor,
      pointer - pointerTrend.change * how.factor);
  }

  return {element, show, resize: () => show(row, shown)};
}
