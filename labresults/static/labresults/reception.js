// The counter's grid: rows are added, sent as one field, and kept in this browser until they are logged.
// Nothing here decides anything: the server judges again, and everything works without this file, only slower.
"use strict";

const deliveryGrid = document.querySelector("[data-delivery] [data-grid]");
if (deliveryGrid) { // there is none while a table is read into an empty delivery
  const grid = deliveryGrid;
  const form = grid.closest("form");
  const held = form.querySelector("[data-rows]");
  const body = grid.tBodies[0];
  const SAVED_AFTER_MS = 800;
  const MOST_DRAFTS = 5;

  const shownRows = () => [...body.rows].filter((row) => row.querySelector("input[name=row]"));
  const numberOf = (row) => Number(row.querySelector("input[name=row]").value);
  const cellsOf = (row) => [...row.querySelectorAll("td > input:not([type=checkbox])")];

  // All rows by number: those of the hidden field, and over them what stands in the fields that are shown.
  function allRows() {
    const sent = held.value ? JSON.parse(held.value) : { columns: [], rows: [] };
    const rows = sent.rows.map((cells) => Object.fromEntries(sent.columns.map((name, at) => [name, cells[at] ?? ""])));
    for (const row of shownRows()) {
      const number = numberOf(row);
      while (rows.length < number) rows.push({});
      for (const cell of cellsOf(row)) rows[number - 1][cell.name] = cell.value;
    }
    return rows;
  }

  function packed() {
    const rows = allRows();
    const columns = [...new Set(rows.flatMap((row) => Object.keys(row)))];
    return JSON.stringify({ columns, rows: rows.map((row) => columns.map((name) => row[name] ?? "")) });
  }

  const isFilled = (row) => Object.values(row).some((text) => text.trim());
  const filledCount = () => allRows().filter(isFilled).length;

  // 2,000 rows of many columns are one field, not 26,000.
  form.addEventListener("formdata", (event) => {
    const names = new Set(["row", ...cellsOf(shownRows()[0] ?? body).map((cell) => cell.name)]);
    const rows = packed();
    names.forEach((name) => event.formData.delete(name));
    event.formData.set("rows", rows);
  });

  function addRow() {
    const shown = shownRows();
    const row = shown[shown.length - 1].cloneNode(true);
    const number = allRows().length + 1;
    row.id = `row${number}`;
    row.classList.remove("fail");
    row.querySelector("th span").textContent = number;
    row.querySelector("input[name=row]").value = number;
    for (const field of row.querySelectorAll("td input")) {
      field.setAttribute("aria-label", field.getAttribute("aria-label").replace(/\d+$/, number));
      field.removeAttribute("aria-describedby");
      field.removeAttribute("aria-invalid");
      if (field.type === "checkbox") {
        field.value = number;
        field.checked = false;
      } else {
        field.value = "";
      }
    }
    body.append(row);
    return row;
  }

  form.querySelector("[data-add-row]").addEventListener("click", (event) => {
    event.preventDefault();
    const first = addRow();
    for (let more = 1; more < 10; more += 1) addRow();
    cellsOf(first)[0].focus();
  });

  // Enter in the last row begins the next one.
  body.addEventListener("keydown", (event) => {
    const row = event.target.closest("tr");
    if (event.key !== "Enter" || row !== shownRows().at(-1) || event.target.type === "checkbox") return;
    event.preventDefault();
    const column = cellsOf(row).indexOf(event.target);
    cellsOf(addRow())[column].focus();
  });

  // A block that is pasted into the grid finds as many rows as it has lines.
  form.addEventListener("paste", (event) => {
    if (!event.target.matches("[data-grid] td > input")) return;
    const lines = event.clipboardData.getData("text").replace(/\r/g, "").replace(/\n$/, "").split("\n").length;
    const shown = shownRows();
    const below = shown.length - shown.indexOf(event.target.closest("tr"));
    for (let more = below; more < lines; more += 1) addRow();
  }, { capture: true });

  // The client's usual request comes a moment after the client was chosen: what was ticked meanwhile stays.
  const ASKED_FIELDS = new Set(["methods", "basis", "limit_set"]);
  const asked = () => [...new FormData(form)].filter(([name]) => ASKED_FIELDS.has(name)).join("\n");
  let askedThen = "";
  form.addEventListener("htmx:beforeRequest", () => { askedThen = asked(); });
  form.addEventListener("htmx:beforeSwap", (event) => {
    if (asked() !== askedThen) event.detail.shouldSwap = false;
  });

  // ---- drafts: one for each form, under the person who typed it, until the server says that it is logged ----
  const key = form.querySelector("[name=form_key]");
  const prefix = `labresults.delivery.${form.dataset.person}.`;
  const note = form.querySelector("[data-draft]");
  const words = form.querySelector("[data-draft-words]");
  const LEFT_OUT = new Set(["csrfmiddlewaretoken", "rows", "row", "shown", "form_key", "file", "strike"]);

  const drafts = () => Object.keys(localStorage)
    .filter((name) => name.startsWith(prefix))
    .map((name) => ({ name, ...JSON.parse(localStorage.getItem(name)) }))
    .sort((one, other) => other.at.localeCompare(one.at));

  function save() {
    const count = filledCount();
    try {
      if (!count) {
        localStorage.removeItem(prefix + key.value);
        return;
      }
      const fields = [...new FormData(form)].filter(([name, value]) => !LEFT_OUT.has(name) && typeof value === "string");
      const at = new Date().toISOString();
      localStorage.setItem(prefix + key.value, JSON.stringify({ at, key: key.value, count, fields, rows: packed() }));
      drafts().slice(MOST_DRAFTS).forEach((draft) => localStorage.removeItem(draft.name));
    } catch {
      words.textContent = "This browser cannot keep the rows: log them before you close it.";
      note.querySelectorAll("button").forEach((button) => { button.hidden = true; });
      note.hidden = false;
    }
  }

  async function isLogged(draft) {
    const answer = await fetch(form.dataset.logged.replace("KEY", encodeURIComponent(draft.key)));
    return answer.ok && (await answer.json()).number !== null;
  }

  async function offer() {
    for (const draft of drafts()) {
      if (draft.key === key.value) continue;
      if (await isLogged(draft)) {
        localStorage.removeItem(draft.name);
        continue;
      }
      const when = new Date(draft.at);
      const day = when.toDateString() === new Date().toDateString() ? "" : `${when.toLocaleDateString()} `;
      const rows = draft.count === 1 ? "1 row" : `${draft.count} rows`;
      const named = `the ${rows} of ${day}${when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false })}`;
      words.textContent = `${named[0].toUpperCase()}${named.slice(1)} were typed and not logged.`;
      note.querySelector("[data-draft-go]").textContent = `Go on with ${named}`;
      note.querySelector("[data-draft-go]").onclick = () => goOn(draft);
      note.querySelector("[data-draft-drop]").onclick = () => {
        localStorage.removeItem(draft.name);
        note.hidden = true;
        offer();
      };
      note.hidden = false;
      return;
    }
  }

  function goOn(draft) {
    body.replaceChildren();
    held.value = draft.rows;
    key.value = draft.key;
    const given = new Set(draft.fields.map(([name, value]) => `${name}\n${value}`));
    for (const field of form.elements) {
      if (!field.name || LEFT_OUT.has(field.name) || field.closest("[data-grid]")) continue;
      if (field.type === "checkbox") {
        field.checked = given.has(`${field.name}\n${field.value}`);
      } else if (field.type !== "file" && field.tagName !== "BUTTON") {
        const found = draft.fields.find(([name]) => name === field.name);
        if (found) field.value = found[1];
      }
    }
    form.requestSubmit(form.querySelector("button[name=check]"));
  }

  let waiting;
  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(save, SAVED_AFTER_MS);
  });
  window.addEventListener("pagehide", save);
  // Back from what was logged: this form is done with, and what would be typed into it would be lost.
  window.addEventListener("pageshow", async (event) => {
    const [navigation] = performance.getEntriesByType("navigation");
    const isBack = event.persisted || navigation?.type === "back_forward";
    if (isBack && await isLogged({ key: key.value })) location.replace(form.action);
  });
  if (filledCount()) save();
  else offer();
}
