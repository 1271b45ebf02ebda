// The matrix of a review by keyboard: arrow keys go from cell to cell, and the evidence follows.
// Without this file every number is a plain link to its evidence. Nothing here decides anything.
"use strict";

const WAIT_MS = 180; // so long a cell keeps the focus before its evidence is fetched
const STEPS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
let waiting;

function neighbour(cell, [down, right]) {
  const rows = [...cell.closest("tbody").rows];
  let row = rows.indexOf(cell.parentElement);
  let column = cell.cellIndex;
  for (;;) {
    row += down;
    column += right;
    const next = rows[row] && rows[row].cells[column];
    if (!next) return null;
    const link = next.querySelector("a[hx-get]");
    if (link) return link;
  }
}

function mark(link) {
  for (const old of document.querySelectorAll(".matrix td.focus")) old.classList.remove("focus");
  link.closest("td").classList.add("focus");
}

document.addEventListener("keydown", (event) => {
  const step = STEPS[event.key];
  const cell = event.target.closest(".matrix td");
  if (!step || !cell || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const link = neighbour(cell, step);
  if (!link) return;
  event.preventDefault();
  link.focus();
  mark(link);
  clearTimeout(waiting);
  waiting = setTimeout(() => link.click(), WAIT_MS);
});

document.addEventListener("click", (event) => {
  const link = event.target.closest(".matrix a[hx-get]");
  if (link) mark(link);
});

document.addEventListener("htmx:afterSettle", (event) => {
  const isBeside = window.matchMedia("(min-width: 64rem)").matches;
  const panel = document.getElementById("evidence");
  if (!panel || isBeside || !event.target.closest("#evidence")) return;
  const ribbon = document.querySelector(".ribbon");
  window.scrollBy(0, panel.getBoundingClientRect().top - (ribbon ? ribbon.offsetHeight : 0));
});
