// The matrix of a review by keyboard. Arrows go from cell to cell, N and P to the next and previous that asks, Home and
// End to the ends of a row; A accepts, R refuses, B sends back, U unmarks, O opens the other measurements, C a comment.
// Marks are a draft in this browser until they are signed. Without this file every number is a plain link to its
// evidence, and decisions are chosen in the form at the foot. Nothing here decides anything: the server judges.
"use strict";

(() => {
  const WAIT_MS = 180; // so long a cell keeps the focus before its evidence is fetched
  const STEPS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
  const SAID = { accept: "accepted", refuse: "refused", runs: "back to Runs", preparation: "back to Preparation" };
  const LINK = "a[hx-get]";
  const form = document.querySelector("[data-sign]");
  let waiting;

  const matrix = () => document.querySelector(".matrix");
  const linkOf = (cell) => cell && cell.querySelector(LINK);
  const focused = () => document.querySelector(".matrix td.focus");
  const panel = () => document.querySelector("[data-marks]");
  const keyOf = (link) => new URLSearchParams(link.getAttribute("hx-get").slice(1)).get("cell");
  const isBesideFocus = () => !linkOf(focused()) || panel().dataset.key === keyOf(linkOf(focused())); // not while it loads

  // ---- from cell to cell

  function neighbour(cell, [down, right]) {
    const rows = [...cell.closest("tbody").rows];
    let row = rows.indexOf(cell.parentElement);
    let column = cell.cellIndex;
    for (;;) {
      row += down;
      column += right;
      const next = rows[row] && rows[row].cells[column];
      if (!next) return null;
      if (linkOf(next)) return linkOf(next);
    }
  }

  function end(cell, isLast) {
    const cells = [...cell.parentElement.cells].filter(linkOf);
    return linkOf(isLast ? cells[cells.length - 1] : cells[0]);
  }

  // Those that ask are in the order of the list below the matrix; the ones on another part of it are plain links.
  function asking(way) {
    const rows = [...document.querySelectorAll("[data-row][data-asks]")];
    if (!rows.length) return null;
    const now = focused() && focused().dataset.waits;
    const from = rows.findIndex((row) => row.dataset.row === now);
    const open = (row) => !row.querySelector("select").value;
    for (let step = 1; step <= rows.length; step += 1) {
      const row = rows[(((from < 0 && way < 0 ? 0 : from) + way * step) % rows.length + rows.length) % rows.length];
      if (open(row)) return target(row);
    }
    return null;
  }

  function target(row) {
    return linkOf(document.querySelector(`.matrix td[data-waits="${row.dataset.row}"]`)) || row.querySelector("a");
  }

  function mark(link) {
    for (const old of document.querySelectorAll(".matrix td.focus")) old.classList.remove("focus");
    link.closest("td").classList.add("focus");
  }

  function go(link) {
    if (!link) return;
    clearTimeout(waiting);
    if (!link.matches(`.matrix ${LINK}`)) {
      link.click();
      return;
    }
    link.focus();
    mark(link);
    waiting = setTimeout(() => link.click(), WAIT_MS);
  }

  function move(key, cell) {
    if (STEPS[key]) return neighbour(cell, STEPS[key]);
    return key === "Home" || key === "End" ? end(cell, key === "End") : null;
  }

  // ---- the draft

  // It is kept with the digest of what was shown: after a signature that digest is another, and what was sent is done.

  const key = form && `review-${form.dataset.sign}`;
  const seen = form && form.querySelector("[name=seen]").value;

  function read() {
    try {
      const draft = JSON.parse(localStorage.getItem(key)) || {};
      return draft.seen === seen || !draft.sent ? draft.marks || {} : {};
    } catch {
      return {}; // no storage, or not ours
    }
  }

  function write(marks, sent) {
    try {
      if (Object.keys(marks).length) localStorage.setItem(key, JSON.stringify({ seen, sent, marks }));
      else localStorage.removeItem(key);
    } catch {
      // A full or forbidden storage: the form itself still holds the marks.
    }
  }

  const rowOf = (pk) => form.querySelector(`[data-row="${pk}"]`);

  function added(pk, said) {
    const row = form.querySelector("[data-added-row]").content.firstElementChild.cloneNode(true);
    const link = row.querySelector("a");
    row.dataset.row = pk;
    row.dataset.method = said.method || "";
    row.dataset.waits = said.waits ? "yes" : "no";
    if (said.asks) row.dataset.asks = "";
    link.textContent = said.name;
    link.href = `?cell=${pk}`;
    row.querySelector("select").name = `d-${pk}`;
    row.querySelector("input").name = `r-${pk}`;
    row.querySelector("button").addEventListener("click", () => put(pk, null));
    form.querySelector("[data-added]").append(row);
    return row;
  }

  // What is said of one result goes into its row of the form: that of the list, or one that is added for it. Of many
  // that ask only the first are listed; one of the others may be accepted in the matrix.
  function put(pk, said) {
    let row = rowOf(pk);
    const isListed = row && row.hasAttribute("data-asks");
    if (!said || (said.what === "accept" && !isListed && !said.asks)) {
      if (row && isListed && !row.closest("[data-added]")) row.querySelector("select").value = "";
      else if (row) row.remove();
    } else {
      row = row || added(pk, said);
      row.querySelector("select").value = said.what;
      row.querySelector("input").value = said.why || "";
    }
    changed();
  }

  function drafted() {
    const marks = {};
    for (const row of form.querySelectorAll("[data-row]")) {
      const [what, why, link] = [row.querySelector("select").value, row.querySelector("input").value, row.querySelector("a")];
      const waits = row.dataset.waits !== "no";
      const asks = row.hasAttribute("data-asks");
      if (what) marks[row.dataset.row] = { what, why, waits, asks, name: link.textContent, method: row.dataset.method };
    }
    return marks;
  }

  function changed() {
    const marks = drafted();
    write(marks, false);
    show(marks);
    say(marks);
  }

  function show(marks) {
    for (const cell of document.querySelectorAll(".matrix td[data-waits]")) {
      const said = marks[cell.dataset.waits];
      cell.classList.toggle("marked", Boolean(said) && said.what === "accept");
      cell.classList.toggle("turned", Boolean(said) && said.what !== "accept");
    }
    const beside = panel();
    if (!beside) return;
    const said = marks[beside.dataset.key];
    beside.querySelector("[data-marked]").textContent = said ? `Marked: ${SAID[said.what]}${said.why ? `, ${said.why}` : ""}. It counts once you sign.` : "";
    beside.querySelector('[data-mark=""]').hidden = !said;
  }

  function grouped(row) {
    const all = row.closest("tr") && row.closest("tr").querySelector("select[name^=g-]");
    return row.querySelector("select").value || (all && all.value) || "";
  }

  function say(marks) {
    const summary = form.querySelector("[data-summary]");
    const method = form.querySelector("[name=method]");
    const of = method ? method.selectedOptions[0].dataset : summary.dataset;
    const rows = [...form.querySelectorAll("[data-row]")].map((row) => [row, grouped(row)]);
    const here = rows.filter(([row]) => !method || !method.value || row.dataset.method === method.value);
    const accepted = here.filter(([row, what]) => what === "accept" && row.hasAttribute("data-asks")).length;
    const turned = rows.filter(([, what]) => what && what !== "accept");
    const others = here.filter(([row, what]) => what && what !== "accept" && !row.hasAttribute("data-asks") && row.dataset.waits !== "no").length;
    const approved = Number(of.waits) - Number(of.asks) + accepted - others;
    const open = Number(of.asks) - accepted - here.filter(([row, what]) => what && what !== "accept" && row.hasAttribute("data-asks")).length;
    const refused = turned.filter(([, what]) => what === "refuse").length;
    summary.textContent = [
      `${approved} approved`,
      `${refused} refused`,
      `${turned.length - refused} sent back`,
      open ? `${open} that ask for a look wait on` : "",
    ].filter((words) => words && !words.startsWith("0 r") && !words.startsWith("0 s")).join(", ");
  }

  // ---- marking the cell in focus

  function decide(what) {
    const beside = panel();
    if (!beside || beside.hidden) return;
    if (!isBesideFocus()) {
      beside.querySelector("[data-marked]").textContent = "The evidence of the cell in focus is still on its way: look at it, then press again.";
      return;
    }
    const row = rowOf(beside.dataset.key);
    const cell = focused();
    if (what === "accept" && (row ? row.hasAttribute("data-blocks") : cell && cell.classList.contains("bad"))) {
      beside.querySelector("[data-marked]").textContent = "It cannot be accepted as it is: refuse it or send it back.";
      return;
    }
    if (what === "" || what === "accept") {
      put(beside.dataset.key, what ? said(beside, what, "") : null);
      return;
    }
    const why = beside.querySelector("[data-why]");
    why.dataset.what = what;
    why.hidden = false;
    why.querySelector("[data-why-what]").textContent = what === "refuse" ? "it is refused" : "it is sent back";
    why.querySelector("[data-why-to]").hidden = what === "refuse";
    why.querySelector("textarea").focus();
  }

  function said(beside, what, why) {
    const cell = focused();
    const waits = !beside.hasAttribute("data-decided");
    const asks = Boolean(cell) && cell.hasAttribute("data-asks");
    return { what, why, waits, asks, name: beside.dataset.name, method: cell ? cell.dataset.method : "" };
  }

  function take(beside) {
    const why = beside.querySelector("[data-why]");
    const words = why.querySelector("textarea").value.trim();
    if (!words) return;
    const isAnew = why.dataset.what === "runs" && why.querySelector("[data-to-preparation]").checked;
    put(beside.dataset.key, said(beside, isAnew ? "preparation" : why.dataset.what, words));
    leave(beside);
  }

  function leave(beside) {
    beside.querySelector("[data-why]").hidden = true;
    const link = linkOf(focused());
    if (link) link.focus();
  }

  function open(which) {
    const fold = document.querySelector(`#evidence ${which}`);
    if (!fold) return;
    fold.open = true;
    const field = fold.querySelector("input[type=radio], textarea");
    if (field) field.focus();
  }

  const ACTS = {
    a: () => decide("accept"),
    r: () => decide("refuse"),
    b: () => decide("runs"),
    u: () => decide(""),
    o: () => open("[data-other]"),
    c: () => open("[data-comment]"),
    n: () => go(asking(1)),
    p: () => go(asking(-1)),
    "?": () => { const keys = document.querySelector("[data-keys]"); if (keys) keys.hidden = !keys.hidden; },
  };

  // ---- what is heard

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const beside = event.target.closest("[data-why]");
    if (beside) {
      if (event.key === "Escape") leave(beside.closest("[data-marks]"));
      else if (event.key === "Enter" && !event.shiftKey) { event.preventDefault(); take(beside.closest("[data-marks]")); }
      return;
    }
    if (event.target.closest("input, textarea, select") || !matrix()) return;
    const cell = event.target.closest(".matrix td");
    const link = cell && !event.shiftKey ? move(event.key, cell) : null;
    if (link) {
      event.preventDefault();
      go(link);
    } else if (ACTS[event.key] && (event.target.closest(".matrix, #evidence") || event.target === document.body)) {
      event.preventDefault();
      ACTS[event.key]();
    }
  });

  document.addEventListener("click", (event) => {
    const link = event.target.closest(`.matrix ${LINK}`);
    if (link) mark(link);
    const beside = event.target.closest("[data-marks]");
    const button = beside && event.target.closest("button");
    if (!button) return;
    if ("mark" in button.dataset) decide(button.dataset.mark);
    else if ("whyTake" in button.dataset) take(beside);
    else leave(beside);
  });

  function ready() {
    const beside = panel();
    const atOnce = document.querySelector("[data-at-once]");
    if (beside && form) beside.hidden = false;
    if (atOnce && form) atOnce.hidden = true;
    if (form) show(drafted());
  }

  document.addEventListener("htmx:beforeRequest", (event) => {
    const link = event.target.closest(`.matrix ${LINK}`);
    const evidence = document.getElementById("evidence");
    if (link && evidence && evidence.dataset.result === keyOf(link)) event.preventDefault(); // it is there, perhaps typed into
  });

  document.addEventListener("htmx:afterSettle", (event) => {
    ready();
    const isBeside = window.matchMedia("(min-width: 64rem)").matches;
    const evidence = document.getElementById("evidence");
    if (!evidence || isBeside || !event.target.closest("#evidence")) return;
    const ribbon = document.querySelector(".ribbon");
    window.scrollBy(0, evidence.getBoundingClientRect().top - (ribbon ? ribbon.offsetHeight : 0));
  });

  if (form) {
    for (const [pk, one] of Object.entries(read())) put(pk, one);
    form.addEventListener("input", changed);
    form.addEventListener("submit", () => write(drafted(), true));
    changed();
  }
  ready();
})();
