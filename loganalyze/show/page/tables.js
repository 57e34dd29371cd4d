// Tables that can be sorted by a column, and parts that unfold when they are asked for or printed.
"use strict";

// What a cell counts as: a time or a length of time in seconds, a level, a number, else its text.
function cellValue(cell) {
  const text = cell.textContent.trim();
  const levels = ["\u25c7", "\u25c8", "\u25c6"].indexOf(text[0]);
  if (levels >= 0) return levels;
  const clock = /^(-?\d+):(\d\d):(\d\d(?:\.\d+)?)/.exec(text);
  if (clock) return Number(clock[1]) * 3600 + Number(clock[2]) * 60 + Number(clock[3]);
  const length = /^(?:(\d+) h )?(?:(\d+) min ?)?(?:([\d.]+) s)?$/.exec(text);
  if (length && text) {
    return Number(length[1] ?? 0) * 3600 + Number(length[2] ?? 0) * 60 + Number(length[3] ?? 0);
  }
  const number = /^[-\u2212]?[\d,]*\.?\d+/.exec(text.replace(/^Mach /, ""));
  return number ? Number(number[0].replace(/,/g, "").replace("\u2212", "-")) : text;
}

function compared(one, other) {
  if (typeof one === typeof other) return one < other ? -1 : one > other ? 1 : 0;
  return typeof one === "number" ? -1 : 1;
}

for (const table of document.querySelectorAll("#found table")) {
  const body = table.tBodies[0], heads = [...table.tHead.rows[0].cells];
  if (!body || body.rows.length < 2) continue;
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const one of heads) one.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const rows = [...body.rows].map((row) => [cellValue(row.cells[column]), row]);
      rows.sort(([a], [b]) => down ? compared(b, a) : compared(a, b));
      body.append(...rows.map(([, row]) => row));
    });
  });
}

// On a narrow screen a picture fits its width, and shows at its own size on request.
(() => {
  const {enlarge, fit} = document.getElementById("main").dataset;
  for (const figure of document.querySelectorAll("figure")) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "enlarge";
    button.textContent = enlarge;
    button.addEventListener("click", () => {
      button.textContent = figure.classList.toggle("large") ? fit : enlarge;
    });
    figure.append(button);
  }
})();

(() => {
  const folded = [...document.querySelectorAll("details")];
  const unfold = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const part = target && (target.closest("details") ?? target.querySelector(":scope > details"));
    if (part) part.open = true;
  };
  addEventListener("hashchange", unfold);
  unfold();
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = folded.filter((one) => !one.open && !one.classList.contains("more"));
    for (const one of opened) one.open = true;
  });
  addEventListener("afterprint", () => {
    for (const one of opened) one.open = false;
  });
})();
