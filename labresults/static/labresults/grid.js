// A grid of fields by keyboard: Enter goes down a column, a pasted block fills cells from where the cursor is.
// Nothing here decides anything: the server judges again.
"use strict";

const rowsOf = (grid) => [...grid.querySelectorAll("tbody tr")].filter((row) => row.querySelector("input[name]"));
const fieldsOf = (row) => [...row.querySelectorAll("td > input:not([type=checkbox])")];

function placeOf(grid, field) {
  const rows = rowsOf(grid);
  const row = rows.findIndex((candidate) => candidate.contains(field));
  return { rows, row, column: fieldsOf(rows[row]).indexOf(field) };
}

function goDown(grid, field, step) {
  const { rows, row, column } = placeOf(grid, field);
  for (let next = row + step; next >= 0 && next < rows.length; next += step) {
    const below = fieldsOf(rows[next])[column];
    if (below) {
      below.focus();
      below.select();
      return;
    }
  }
}

function paste(grid, field, text) {
  const { rows, row, column } = placeOf(grid, field);
  text.replace(/\r/g, "").replace(/\n$/, "").split("\n").forEach((line, down) => {
    if (!rows[row + down]) return;
    const fields = fieldsOf(rows[row + down]);
    line.split("\t").forEach((cell, right) => {
      if (!fields[column + right]) return;
      fields[column + right].value = cell;
      fields[column + right].dispatchEvent(new Event("input", { bubbles: true }));
    });
  });
}

function judge(grid, field) {
  const cell = field.closest("tr").querySelector("[data-judged]");
  if (!cell || !grid.dataset.low) return;
  const mass = field.value.trim() === "" ? NaN : Number(field.value);
  const outside = mass < Number(grid.dataset.low) || mass > Number(grid.dataset.high);
  const word = document.createElement("span");
  word.textContent = Number.isNaN(mass) ? "" : outside ? "outside: weigh again, or give a reason" : "within";
  word.className = outside ? "word-out" : "";
  cell.replaceChildren(word);
}

function addRow(grid) {
  const rows = rowsOf(grid);
  const last = rows[rows.length - 1];
  const row = last.cloneNode(true);
  row.removeAttribute("id");
  row.classList.remove("fail");
  const number = rows.length + 1;
  row.querySelector("th").textContent = number;
  row.querySelectorAll("input").forEach((field) => {
    field.setAttribute("aria-label", field.getAttribute("aria-label").replace(/\d+$/, number));
    field.removeAttribute("aria-describedby");
    if (field.type === "checkbox") {
      field.value = number;
      field.checked = false;
    } else if (field.name !== "matrix") {
      field.value = "";
    }
  });
  grid.querySelector("tbody").append(row);
  fieldsOf(row)[0].focus();
}

for (const grid of document.querySelectorAll("[data-grid]")) {
  grid.addEventListener("keydown", (event) => {
    if (!event.target.matches("td > input:not([type=checkbox])")) return;
    const step = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    goDown(grid, event.target, step);
  });
  grid.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text");
    if (!/[\t\n]/.test(text.trim()) || !event.target.matches("td > input")) return;
    event.preventDefault();
    paste(grid, event.target, text);
  });
  grid.addEventListener("input", (event) => {
    if (event.target.matches("[data-mass]")) judge(grid, event.target);
  });
  const adder = document.querySelector("[data-add-row]");
  if (adder) {
    adder.hidden = false;
    adder.addEventListener("click", () => addRow(grid));
  }
}
