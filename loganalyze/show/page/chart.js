// The charts: panels over one time axis, with one cursor, one view, and a read-out of it all.
"use strict";

(() => {
  const slot = document.getElementById("chart");
  const about = JSON.parse(document.getElementById("chart-about").textContent);
  const words = about.words;
  const STEPS = [0.1, 0.25, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200,
                 14400, 21600, 43200, 86400];
  const columns = {};
  const panels = [];
  const view = {from: 0, to: 1};
  let time, row = 0, colours, bottom, stack, slider, instant, ruler;
  const readout = [];
  let chosen = -1, strip, phases = [], permalink, choice;

  function made(name, attributes = {}, ...children) {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
      if (key === "on") for (const [event, act] of Object.entries(value)) {
        element.addEventListener(event, act);
      } else element.setAttribute(key, value);
    }
    element.append(...children);
    return element;
  }

  const loading = {};
  function load(name) {
    loading[name] ??= (async () => {
      const how = about.columns[name], source = document.getElementById("column-" + name);
      if (how.of) await load(how.of);
      columns[name] = await unpacked(source.textContent, how, about.rows, columns[how.of]);
      source.remove();
    })();
    return loading[name];
  }

  // A trace's value at a row, as recorded or computed, without the factor to the shown unit.
  function exact(name) {
    if (name === "limit_mach") {
      const mach = columns.mach, margin = columns.margin_mach;
      return (at) => Math.fround(mach[at] + margin[at]);
    }
    const values = columns[name];
    return (at) => values[at];
  }

  function shown(name) {
    const value = exact(name), factor = about.traces[name].factor;
    return factor === 1 ? value : (at) => value(at) * factor;
  }

  const needs = (name) => name === "limit_mach" ? ["mach", "margin_mach"] : [name];

  // -- words ---------------------------------------------------------------------------------

  const two = (number) => String(number).padStart(2, "0");

  function clock(seconds, digits) {
    if (about.utc === null) seconds -= about.origin;
    else seconds = ((seconds + about.utc) % 86400 + 86400) % 86400;
    const unit = 10 ** digits, all = Math.round(Math.abs(seconds) * unit);
    const hours = Math.floor(all / unit / 3600), minutes = Math.floor(all / unit / 60) % 60;
    const rest = (all / unit % 60).toFixed(digits);
    const sign = seconds < 0 && all ? "-" : "";
    return `${sign}${about.utc === null ? hours : two(hours)}:${two(minutes)}:`
      + rest.padStart(digits ? digits + 3 : 2, "0");
  }

  function put(name, value) {
    const trace = about.traces[name];
    if (value !== value) return words.unknown;
    if (trace.discrete) return value ? words.yes : words.no;
    const text = (value * trace.factor).toLocaleString("en-GB", {
      minimumFractionDigits: trace.digits, maximumFractionDigits: trace.digits,
      useGrouping: trace.digits === 0});
    return trace.unit ? `${text} ${trace.unit}` : text;
  }

  // -- drawing -------------------------------------------------------------------------------

  function readColours() {
    const style = getComputedStyle(slot);
    const of = (name) => style.getPropertyValue("--" + name).trim();
    colours = Object.fromEntries(["main", "second", "limit", "pointer", "ceiling", "ceiling2", "grid", "ink",
      "over", "over-ink", "band", "unknown", "unknown-line", "paper"].map((name) => [name, of(name)]));
  }

  const DASHES = {main: [], second: [8, 2, 2, 2], limit: [7, 4], pointer: [2, 3],
                  ceiling: [10, 3, 2, 3],
                  ceiling2: [2, 2]};

  function stretches(u, pairs, paint) {
    const {left, width, top, height} = u.bbox;
    let last = -1;
    for (const [start, end] of pairs) {
      if (end < view.from || start > view.to) continue;
      let a = Math.max(u.valToPos(start, "x", true), left);
      const b = Math.min(Math.max(u.valToPos(end, "x", true), a + 2), left + width);
      // Stretches too close to distinguish are painted as one.
      a = Math.max(a, last);
      if (b > a) paint(a, top, b - a, height);
      last = Math.max(last, b);
    }
  }

  function hatch(ctx) {
    const size = 8 * devicePixelRatio, tile = made("canvas", {width: size, height: size});
    const pen = tile.getContext("2d");
    pen.fillStyle = colours.unknown;
    pen.fillRect(0, 0, size, size);
    pen.strokeStyle = colours["unknown-line"];
    pen.lineWidth = devicePixelRatio;
    pen.beginPath();
    for (const shift of [-size, 0, size]) {
      pen.moveTo(shift, size);
      pen.lineTo(shift + size, 0);
    }
    pen.stroke();
    return ctx.createPattern(tile, "repeat");
  }

  function background(u) {
    const ctx = u.ctx;
    ctx.save();
    ctx.fillStyle = hatch(ctx);
    stretches(u, about.unknown, (...box) => ctx.fillRect(...box));
    ctx.fillStyle = colours.over;
    stretches(u, about.over, (...box) => ctx.fillRect(...box));
    ctx.restore();
  }

  // An edge besides the tint: it is seen without colour, and in bright light.
  function edges(u) {
    const {ctx, bbox: {left, width, top, height}} = u, line = Math.round(2 * devicePixelRatio);
    ctx.save();
    ctx.fillStyle = colours["over-ink"];
    for (const edge of about.over.flat()) {
      const at = Math.round(u.valToPos(edge, "x", true));
      if (at >= left && at <= left + width) ctx.fillRect(at - line / 2, top, line, height);
    }
    ctx.restore();
  }

  // The exceedances in a margin panel: a triangle at each one's worst instant, and its number.
  function numbered(u) {
    const {ctx, bbox: {left, width, top, height}} = u, size = 5 * devicePixelRatio;
    const margin = shown("margin_kt");
    ctx.save();
    ctx.font = `bold ${12 * devicePixelRatio}px system-ui, sans-serif`;
    ctx.textAlign = "center";
    ctx.lineWidth = 3 * devicePixelRatio;
    ctx.strokeStyle = colours.paper;
    let before = -Infinity, above = false;
    about.jumps.forEach((one, i) => {
      const x = u.valToPos(one.worst, "x", true);
      if (x < left || x > left + width) return;
      const value = one.speed ? margin(nearestRow(time, one.worst)) : NaN;
      const y = Number.isFinite(value)
        ? Math.min(Math.max(u.valToPos(value, "y", true), top + size), top + height - size)
        : top + size;
      ctx.fillStyle = colours["over-ink"];
      ctx.beginPath();
      ctx.moveTo(x - size, y - size);
      ctx.lineTo(x + size, y - size);
      ctx.lineTo(x, y + size);
      ctx.fill();
      // Neighbours' numbers stand above and below in turn; a third one so near has none.
      const wide = ctx.measureText(String(i + 1)).width + 4 * devicePixelRatio;
      const near = x - before < Math.max(3 * size, wide);
      if (near && above) return;
      above = near || y + 4 * size > top + height;
      const below = !above;
      before = x;
      ctx.fillStyle = colours.ink;
      ctx.strokeText(String(i + 1), x, below ? y + 3.6 * size : y - 1.6 * size);
      ctx.fillText(String(i + 1), x, below ? y + 3.6 * size : y - 1.6 * size);
    });
    ctx.restore();
  }

  function zeroLine(u) {
    const {ctx, bbox: {left, width, top, height}} = u, y = u.valToPos(0, "y", true);
    if (y < top || y > top + height) return;
    ctx.save();
    ctx.strokeStyle = colours.ink;
    ctx.lineWidth = 1.5 * devicePixelRatio;
    ctx.beginPath();
    ctx.moveTo(left, y);
    ctx.lineTo(left + width, y);
    ctx.stroke();
    ctx.restore();
  }

  // The height of a panel's axis: what is shown, with some padding; the margin's is capped, or the
  // ground roll's would press flat the few knots that matter.
  function reach(panel, least, greatest) {
    if (least === null || least === undefined) return [0, 1];
    const cap = panel.cap === null ? Infinity : panel.cap * about.traces.margin_kt.factor;
    if (panel.zero) least = Math.min(least, 0);
    if (least < cap && greatest > cap) greatest = cap;
    const padding = 0.06 * (greatest - least) || Math.max(1e-3, Math.abs(greatest) * 0.01);
    return [least - padding, greatest === cap ? cap : greatest + padding];
  }

  function plot(panel) {
    const names = panel.traces.map(([name]) => name);
    const series = panel.traces.map(([name, style]) => ({
      stroke: () => colours[style], width: style === "main" ? 1.6 : 1.3, dash: DASHES[style],
      points: {show: false}, paths: about.traces[name].discrete ? uPlot.paths.stepped({align: 1})
        : undefined,
    }));
    const values = names.map(shown);
    const bands = [];
    if (panel.band) {
      const factor = about.traces.margin_kt.factor * about.coverage;
      const margin = shown("margin_kt"), u = columns[panel.band];
      values.push((at) => margin(at) + factor * u[at], (at) => margin(at) - factor * u[at]);
      for (let i = 0; i < 2; i++) series.push({width: 0, stroke: "transparent",
                                               points: {show: false}});
      bands.push({series: [names.length + 1, names.length + 2], fill: () => colours.band});
    }
    const first = about.traces[names[0]];
    const label = first.unit ? `[${first.unit}]` : "";
    const axis = {stroke: () => colours.ink, grid: {stroke: () => colours.grid, width: 1},
                  ticks: {stroke: () => colours.grid, width: 1}, font: "12px system-ui, sans-serif"};
    const made = new uPlot({
      width: width(), height: panel.height, series: [{}, ...series], bands,
      legend: {show: false}, padding: [8, 12, 0, 0],
      scales: {x: {time: false, range: () => [view.from, view.to]},
               y: {range: (_, least, greatest) => reach(panel, least, greatest)}},
      axes: [
        {...axis, incrs: STEPS, space: 80, size: 28, splits: ticks,
         values: (_, marks) => marks.map((mark) => inMinutes() ? clock(mark, 0).slice(0, -3)
           : clock(mark, view.to - view.from < 3 ? 1 : 0))},
        {...axis, size: 62, space: 24, label, labelSize: 16, labelFont: axis.font, labelGap: 0,
         values: (_, marks) => marks.map((mark) => mark.toLocaleString("en-GB",
           {maximumFractionDigits: 4}))},
      ],
      cursor: {
        y: false, points: {show: false}, drag: {x: true, y: false, setScale: false, dist: 6},
        move: (u, left, top) => left < 0 ? [left, top]
          : [u.valToPos(time[nearestRow(time, u.posToVal(left, "x"))], "x"), top],
        bind: {dblclick: () => whole, mousedown: moving, mouseleave: () => () => null},
      },
      hooks: {
        drawClear: [background], drawAxes: [edges], draw: panel.zero ? [zeroLine, numbered] : [],
        setCursor: [(u) => {
          if (u.cursor.event && u.cursor.left >= 0) {
            setRow(nearestRow(time, u.posToVal(u.cursor.left, "x")), u);
          }
        }],
        setSelect: [(u) => {
          const {left, width: wide} = u.select;
          if (wide < 2) return;
          const from = u.posToVal(left, "x"), to = u.posToVal(left + wide, "x");
          u.setSelect({left: 0, top: 0, width: 0, height: 0}, false);
          chosen = -1;
          show(from, to);
        }],
      },
    }, data(values), panel.box);
    return {u: made, panel, names, values};
  }

  // From ten minutes on ticks are at whole minutes, and seconds are omitted.
  const inMinutes = () => view.to - view.from >= 600;

  // Round instants of the clock that is shown.
  function ticks(u, _, from, to) {
    const space = inMinutes() ? 52 : 80;
    const most = Math.max(Math.floor(u.bbox.width / devicePixelRatio / space), 2);
    const step = STEPS.find((one) => (to - from) / one <= most) || 86400;
    const shift = about.utc === null ? -about.origin : about.utc;
    const marks = [];
    for (let mark = Math.ceil((from + shift) / step) * step - shift; mark <= to; mark += step) {
      marks.push(mark);
    }
    return marks;
  }

  function data(values) {
    return thinned(time, values, view.from, view.to, Math.max(Math.round(width() - 80), 100),
                   about.interval ? 1.5 * about.interval : Infinity);
  }

  const width = () => Math.max(stack.clientWidth, 240);

  let waiting = 0;
  function redraw() {
    if (waiting) return;
    waiting = requestAnimationFrame(() => {
      waiting = 0;
      for (const {u, values} of panels) {
        u.batch(() => {
          u.setData(data(values), false);
          u.setScale("x", {min: view.from, max: view.to});
        });
      }
      setRow(row);
      drawStrip();
    });
  }

  // -- moving about --------------------------------------------------------------------------

  function show(from, to) {
    const first = time[0], last = time[time.length - 1];
    const least = Math.min(Math.max(4 * about.interval, 0.5), last - first);
    let length = Math.min(Math.max(to - from, least), last - first);
    from = Math.min(Math.max((from + to - length) / 2, first), last - length);
    view.from = from;
    view.to = from + length;
    const digits = length < 60 ? 1 : 0;
    bottom.textContent = words.shown.replace("{from}", clock(view.from, digits))
      .replace("{to}", clock(view.to, digits));
    if (time[row] < view.from || time[row] > view.to) {
      row = nearestRow(time, (view.from + view.to) / 2);
    }
    link();
    redraw();
  }

  // The address of what is shown: of an exceedance, or of a stretch and the cursor in it.
  function link() {
    const part = (seconds) => seconds.toFixed(3);
    permalink.href = chosen >= 0 ? `#exceedance=${chosen + 1}`
      : `#view=${part(view.from)},${part(view.to)},${part(time[row])}`;
  }

  // Show what the address says; whether it says anything of the chart.
  function follow() {
    const one = /^#exceedance=(\d+)$/.exec(location.hash);
    const some = /^#view=(-?[\d.]+),(-?[\d.]+),(-?[\d.]+)$/.exec(location.hash);
    if (one && about.jumps[one[1] - 1]) goTo(one[1] - 1);
    else if (some) {
      const [from, to, at] = some.slice(1).map(Number);
      chosen = -1;
      row = nearestRow(time, at);
      show(from, to);
    } else return false;
    slot.scrollIntoView();
    return true;
  }

  function goTo(number) {
    const one = about.jumps[number];
    jump(one.start, one.end, one.worst);
    chosen = number;
    choice.value = number;
    link();
  }

  // The next exceedance by its worst instant, or the one before; from none chosen, by the cursor.
  function neighbour(by) {
    if (!about.jumps.length) return;
    let to = chosen + by;
    if (chosen < 0) {
      to = by > 0 ? about.jumps.findIndex((one) => one.worst > time[row])
        : about.jumps.findLastIndex((one) => one.worst < time[row]);
      if (to < 0) to = by > 0 ? about.jumps.length - 1 : 0;
    }
    goTo(Math.min(Math.max(to, 0), about.jumps.length - 1));
  }

  function wheel(u) {
    u.over.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && !event.metaKey && !event.shiftKey) return;
      event.preventDefault();
      chosen = -1;
      const by = event.deltaY || event.deltaX;
      if (event.shiftKey) return shift(Math.sign(by) * 0.1);
      const box = u.over.getBoundingClientRect();
      const at = view.from + (event.clientX - box.left) / box.width * (view.to - view.from);
      const factor = Math.min(Math.max(Math.exp(by * 0.002), 0.5), 2);
      show(at - (at - view.from) * factor, at + (view.to - at) * factor);
    }, {passive: false});
  }

  // One finger reads, two zoom and move: what lay under each finger stays under it.
  function touch(u) {
    let held = null;
    const place = (finger) => {
      const box = u.over.getBoundingClientRect();
      return (finger.clientX - box.left) / box.width;
    };
    const grasp = (event) => {
      held = event.touches.length === 2 ? [...event.touches].map((finger) =>
        view.from + place(finger) * (view.to - view.from)) : null;
    };
    u.over.addEventListener("touchstart", grasp, {passive: true});
    u.over.addEventListener("touchend", grasp, {passive: true});
    u.over.addEventListener("touchmove", (event) => {
      if (event.touches.length === 2 && held) {
        event.preventDefault();
        chosen = -1;
        const [a, b] = [...event.touches].map(place);
        if (Math.abs(b - a) < 0.02) return;
        const length = (held[1] - held[0]) / (b - a);
        if (length > 0) show(held[0] - a * length, held[0] + (1 - a) * length);
      } else if (event.touches.length === 1) {
        const share = Math.min(Math.max(place(event.touches[0]), 0), 1);
        setRow(nearestRow(time, view.from + share * (view.to - view.from)));
      }
    }, {passive: false});
  }

  // The phases of flight as a strip under the time axis.
  function phaseRuns() {
    const codes = columns.phase, runs = [];
    for (let at = 0; codes && at < about.rows; at++) {
      const last = runs[runs.length - 1];
      if (last && last.code === codes[at]) last.end = time[Math.min(at + 1, about.rows - 1)];
      else runs.push({code: codes[at], start: time[at], end: time[Math.min(at + 1,
        about.rows - 1)]});
    }
    return runs;
  }

  function drawStrip() {
    if (!strip || !panels.length) return;
    const over = panels[0].u.over, length = view.to - view.from;
    strip.style.marginLeft = `${over.offsetLeft}px`;
    strip.style.width = `${over.clientWidth}px`;
    strip.replaceChildren(...phases.filter((one) => one.end > view.from && one.start < view.to)
      .map((one) => {
        const from = Math.max((one.start - view.from) / length, 0);
        const to = Math.min((one.end - view.from) / length, 1);
        const name = about.codes.phase[one.code] ?? words.unknown;
        const part = made("span", {title: name}, (to - from) * over.clientWidth
          > 7.5 * name.length ? name : "");
        part.style.left = `${100 * from}%`;
        part.style.width = `${100 * (to - from)}%`;
        return part;
      }));
  }

  const whole = () => { chosen = -1; show(time[0], time[time.length - 1]); };
  const zoom = (factor) => {
    chosen = -1;
    const length = (view.to - view.from) * factor, at = time[row];
    const share = (at - view.from) / (view.to - view.from);
    show(at - share * length, at + (1 - share) * length);
  };
  const shift = (part) => {
    chosen = -1;
    const step = part * (view.to - view.from);
    show(view.from + step, view.to + step);
  };

  function moving(u, target, act) {
    return (event) => {
      if (!event.shiftKey) return act(event);
      event.preventDefault();
      const start = event.clientX, from = view.from, to = view.to;
      const scale = (to - from) / u.over.clientWidth;
      const move = (now) => {
        const step = (start - now.clientX) * scale;
        show(from + step, to + step);
      };
      const end = () => {
        removeEventListener("mousemove", move);
        removeEventListener("mouseup", end);
      };
      addEventListener("mousemove", move);
      addEventListener("mouseup", end);
      return null;
    };
  }

  function setRow(at, from) {
    row = Math.min(Math.max(at, 0), about.rows - 1);
    for (const {u} of panels) {
      if (u !== from) u.setCursor({left: u.valToPos(time[row], "x"), top: 0}, false);
    }
    slider.value = row;
    slider.setAttribute("aria-valuetext",
      `${clock(time[row], 2)}, ${about.traces.margin_kt.label} `
      + put("margin_kt", columns.margin_kt[row]));
    ruler.show(row, clock(time[row], 1));
    instant.textContent = clock(time[row], 2);
    instant.dataset.value = time[row];
    for (const {cell, name} of readout) {
      if (name in about.codes) {
        cell.textContent = about.codes[name][columns[name][row]] ?? words.none;
      } else {
        const value = exact(name)(row);
        cell.textContent = put(name, value);
        cell.dataset.value = value;
      }
    }
  }

  function jump(start, end, worst) {
    const padding = Math.max(0.35 * (end - start), 15 * Math.max(about.interval, 1));
    if (worst !== undefined) row = nearestRow(time, worst);
    show(start - padding, end + padding);
  }

  // -- making it -----------------------------------------------------------------------------

  function controls() {
    const button = (key, act) => made("button", {type: "button", on: {click: act}}, words[key]);
    choice = made("select", {on: {change: () => {
      if (about.jumps[choice.value]) goTo(Number(choice.value));
    }}}, made("option", {value: ""}, words.jump_none), ...about.jumps.map(
      (one, i) => made("option", {value: i}, one.label)));
    slider = made("input", {type: "range", min: 0, max: about.rows - 1, step: 1, value: 0,
                            on: {input: () => {
      setRow(Number(slider.value));
      if (time[row] < view.from || time[row] > view.to) {
        const half = (view.to - view.from) / 2;
        show(time[row] - half, time[row] + half);
      }
    }}});
    const step = (by) => () => { slider.value = row + by; slider.dispatchEvent(new Event("input")); };
    bottom = made("p", {class: "shown", "aria-live": "polite"});
    const bar = made("div", {class: "controls", role: "group", "aria-label": words.chart},
      button("zoom_in", () => zoom(0.5)), button("zoom_out", () => zoom(2)),
      button("earlier", () => shift(-0.4)), button("later", () => shift(0.4)),
      button("whole", whole));
    if (about.jumps.length) {
      bar.append(made("label", {}, words.jump + " ", choice),
        button("previous_one", () => neighbour(-1)), button("next_one", () => neighbour(1)));
    }
    bar.append(button("previous", step(-1)), button("next", step(1)));
    permalink = made("a", {class: "permalink", href: "#glance"}, words.link);
    bar.append(permalink);
    return [made("p", {class: "note with-mouse"}, words.hint),
            made("p", {class: "note with-finger"}, words.touch_hint), bar,
            made("label", {class: "cursor"}, words.cursor + " ", slider), bottom];
  }

  function readOut() {
    instant = made("td");
    const body = made("tbody", {}, made("tr", {}, made("th", {scope: "row"},
      about.utc === null ? words.elapsed : words.utc), instant));
    const add = (name, label) => {
      const cell = made("td");
      cell.dataset.trace = name;
      readout.push({cell, name});
      body.append(made("tr", {}, made("th", {scope: "row"}, label), cell));
    };
    for (const name of Object.keys(about.codes)) add(name, words[name]);
    for (const {traces} of about.panels) {
      for (const [name] of traces) add(name, about.traces[name].label);
    }
    return {table: made("table", {class: "readout"}, made("caption", {}, words.values),
      made("thead", {}, made("tr", {}, made("th", {scope: "col"}, words.channel),
        made("th", {scope: "col"}, words.value))), body), add};
  }

  function key(panel) {
    const legend = panel.traces.map(([name, style]) => made("span", {class: "key " + style},
      about.traces[name].label));
    if (panel.band) legend.push(made("span", {class: "key band"}, words.band));
    if (about.over.length) legend.push(made("span", {class: "key over"}, words.over));
    if (about.unknown.length) legend.push(made("span", {class: "key hatched"}, words.hatched));
    return legend;
  }

  function addPanel(panel, into) {
    panel.box = made("div", {class: "plot", role: "img", "aria-label": `${panel.title}. `
      + `${words.values}: ${panel.traces.map(([name]) => about.traces[name].label).join(", ")}`});
    into.append(made("div", {class: "panel"}, made("p", {class: "panel-title"},
      made("b", {}, panel.title), " ", ...key(panel)), panel.box));
    panels.push(plot(panel));
    const {u} = panels[panels.length - 1];
    wheel(u);
    touch(u);
    if (panels.length === 1 && columns.phase) {
      phases = phaseRuns();
      const said = phases.map((one) => `${about.codes.phase[one.code] ?? words.unknown} `
        + clock(one.start, 0)).slice(0, 40).join(", ");
      strip = made("div", {class: "phases", role: "img", "aria-label": `${words.phases}: ${said}`});
      panel.box.append(strip);
    }
  }

  function more(into, add) {
    const list = made("div", {class: "more-list"});
    for (const name of about.more) {
      const box = made("input", {type: "checkbox", on: {change: async () => {
        if (box.checked) {
          await load(name);
          if (!box.checked || panels.some((one) => one.panel.name === name)) return;
          const title = about.traces[name].label;
          addPanel({title: title[0].toUpperCase() + title.slice(1), height: 120, band: null,
                    zero: false, cap: null, traces: [[name, "main"]], name}, into);
          if (!readout.some((one) => one.name === name)) add(name, title);
        } else {
          const at = panels.findIndex((one) => one.panel.name === name);
          if (at < 0) return;
          panels[at].u.destroy();
          panels[at].panel.box.parentNode.remove();
          panels.splice(at, 1);
          const line = readout.findIndex((one) => one.name === name);
          readout[line].cell.parentNode.remove();
          readout.splice(line, 1);
        }
        setRow(row);
      }}});
      list.append(made("label", {}, box, " " + about.traces[name].label));
    }
    const note = about.thinned ? [made("p", {class: "note thinned"}, about.thinned)] : [];
    return made("details", {class: "more"}, made("summary", {}, words.more), ...note, list);
  }

  async function begin() {
    const wanted = new Set(["time_s", about.ruler.speed, about.ruler.pointer,
                            ...Object.keys(about.codes)]);
    for (const {traces, band} of about.panels) {
      for (const [name] of traces) needs(name).forEach((one) => wanted.add(one));
      if (band) wanted.add(band);
    }
    await Promise.all([...wanted].map(load));
    time = columns.time_s;
    view.from = time[0];
    view.to = time[time.length - 1];
    readColours();
    const live = made("div", {class: "live"});
    stack = made("div", {class: "panels"});
    const {table, add} = readOut();
    ruler = speedRuler(about, columns, (at) => {
      slider.value = at;
      slider.dispatchEvent(new Event("input"));
    });
    live.append(...controls(), ruler.element, made("div", {class: "columns"}, stack, made("div",
      {class: "side", tabindex: 0, role: "group", "aria-label": words.values}, table)));
    slot.append(live);
    document.documentElement.classList.add("charted");
    if (about.more.length) live.append(more(stack, add));
    for (const panel of about.panels) addPanel(panel, stack);
    const worst = about.jumps.length ? about.jumps[0].worst : (view.from + view.to) / 2;
    row = nearestRow(time, worst);
    whole();
    live.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || event.target === choice) return;
      if (event.key === "n") neighbour(1);
      else if (event.key === "p") neighbour(-1);
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      readColours();
      for (const {u} of panels) u.redraw();
    });
    new ResizeObserver(() => {
      for (const {u, panel} of panels) u.setSize({width: width(), height: panel.height});
      ruler.resize();
      redraw();
    }).observe(stack);
    for (const one of document.querySelectorAll("a[data-start]")) {
      const {start, end, worst, number} = one.dataset;
      if (Number(number)) one.setAttribute("href", `#exceedance=${number}`);
      one.addEventListener("click", () => {
        if (Number(number)) {
          goTo(number - 1);
          slot.scrollIntoView();
        } else {
          chosen = -1;
          jump(Number(start), Number(end), Number(worst));
        }
      });
    }
    addEventListener("hashchange", follow);
    slot.dataset.ready = "yes";
    follow();
  }

  begin().catch((error) => {
    document.documentElement.classList.remove("charted");
    slot.prepend(made("p", {class: "note", role: "status"}, words.failed));
    console.error(error);
  });
})();
