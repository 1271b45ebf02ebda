// A grid of fields by keyboard: Enter goes down a column, a pasted block fills cells from where the cursor is.
// Nothing here decides anything: the server judges again.
"use strict";

(() => {
  const FIELD = "td > input:not([type=checkbox]):not([type=hidden]), td > select";

  const rowsOf = (grid) => [...grid.querySelectorAll("tbody tr")].filter((row) => row.querySelector(FIELD));
  const isShown = (field) => field.closest("td").offsetParent !== null;
  const fieldsOf = (row) => [...row.querySelectorAll(FIELD)].filter(isShown);

  function fieldAt(row, column) {
    const cell = row.cells[column];
    return cell ? fieldsOf(row).find((field) => field.parentElement === cell) : undefined;
  }

  function columnsOf(grid) {
    const found = new Set(rowsOf(grid).flatMap((row) => fieldsOf(row).map((field) => field.parentElement.cellIndex)));
    return [...found].sort((one, other) => one - other);
  }

  function goDown(grid, field, step) {
    const rows = rowsOf(grid);
    const column = field.parentElement.cellIndex;
    for (let next = rows.indexOf(field.closest("tr")) + step; next >= 0 && next < rows.length; next += step) {
      const below = fieldAt(rows[next], column);
      if (below) {
        below.focus();
        if (below.select) below.select();
        return;
      }
    }
  }

  function fill(field, text) {
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function paste(grid, field, text) {
    const rows = rowsOf(grid);
    const columns = columnsOf(grid);
    const first = rows.indexOf(field.closest("tr"));
    const left = columns.indexOf(field.parentElement.cellIndex);
    text.replace(/\r/g, "").replace(/\n$/, "").split("\n").forEach((line, down) => {
      const row = rows[first + down];
      if (!row) return;
      line.split("\t").forEach((cell, right) => {
        const into = columns[left + right] === undefined ? undefined : fieldAt(row, columns[left + right]);
        if (into) fill(into, "letter" in into.dataset ? cell : cell.trim()); // data-letter: kept to the letter
      });
    });
  }

  for (const grid of document.querySelectorAll("[data-grid]")) {
    grid.addEventListener("keydown", (event) => {
      if (!event.target.matches(FIELD) || event.target.matches("select")) return;
      const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
      if (!step) return;
      event.preventDefault();
      goDown(grid, event.target, step);
    });
    grid.addEventListener("paste", (event) => {
      const text = event.clipboardData.getData("text");
      if (!/[\t\n]/.test(text.trim()) || !event.target.matches(FIELD)) return;
      event.preventDefault();
      paste(grid, event.target, text);
    });
  }
})();
