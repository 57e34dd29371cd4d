"use strict";
// Keys of the desk, and what only a script can do: every page works without it.
(() => {
  const keys = document.getElementById("keys");
  const button = document.getElementById("keys-open");
  if (!keys || !button) return;
  button.hidden = false;
  button.addEventListener("click", () => keys.showModal());

  const rows = () => [...document.querySelectorAll("a.open")];
  const step = (by) => {
    const all = rows();
    if (!all.length) return;
    const now = all.indexOf(document.activeElement);
    const next = now < 0 ? (by > 0 ? 0 : all.length - 1)
      : Math.min(all.length - 1, Math.max(0, now + by));
    all[next].focus();
  };
  const follow = (selector) => {
    const link = document.querySelector(selector);
    if (link) link.click();
  };
  const focus = (selector) => {
    const found = document.querySelector(selector);
    if (found) { found.focus(); found.scrollIntoView({block: "center"}); }
  };
  const done = {
    "j": () => step(1), "k": () => step(-1), "ArrowDown": () => step(1), "ArrowUp": () => step(-1),
    "/": () => focus("#search"), "n": () => follow("a[rel=next]"),
    "p": () => follow("a[rel=prev]"),
    "d": () => focus("#decide input[name=decision]:checked, #decide input[name=decision]"),
    "l": () => follow("#to-list"), "?": () => keys.showModal(),
  };
  document.addEventListener("keydown", (event) => {
    const at = event.target;
    const typing = at.matches("input, select, textarea, [contenteditable]");
    if (event.key === "Escape") {
      for (const open of document.querySelectorAll("details.pick[open]")) {
        open.open = false;
        if (open.contains(at)) open.querySelector("summary").focus();
      }
      if (at.id === "search") at.blur();
      return;
    }
    if (typing || event.ctrlKey || event.altKey || event.metaKey || keys.open) return;
    // Arrows scroll as ever, except where there are rows to go through.
    if (event.key.startsWith("Arrow") && !document.getElementById("cases")) return;
    const action = done[event.key];
    if (action) { event.preventDefault(); action(); }
  });
  // One list of choices at a time, and none once the click is elsewhere.
  document.addEventListener("click", (event) => {
    for (const open of document.querySelectorAll("details.pick[open]"))
      if (!open.contains(event.target)) open.open = false;
  });
  // An address holds no field that says nothing.
  document.addEventListener("formdata", (event) => {
    if (event.target.method !== "get") return;
    for (const [name, value] of [...event.formData.entries()])
      if (value === "") event.formData.delete(name);
  });
  // A form is sent once.
  document.addEventListener("submit", (event) => {
    if (event.target.method !== "post" || event.target.action.endsWith("/pack")) return;
    if (event.target.dataset.sent) event.preventDefault();
    event.target.dataset.sent = "1";
  });
  window.addEventListener("pageshow", () => {
    for (const form of document.forms) delete form.dataset.sent;
  });
  const refused = document.getElementById("refused");
  if (refused) refused.focus();
})();
