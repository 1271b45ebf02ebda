// What was typed into a grid and not recorded survives a reload, a crash and a restart of the browser. It is kept in
// this browser only, cell by cell, under the grid's data-draft-key; two windows keep their cells side by side.
// A cell is kept while it differs from its data-recorded; `-seen` fields keep which recording was seen when typing.
"use strict";

(() => {
  function isSame(one, other) {
    const [a, b] = [one.trim(), other.trim()];
    if (a === b) return true;
    return a !== "" && b !== "" && Number.isFinite(Number(a)) && Number(a) === Number(b);
  }

  class Drafts {
    constructor(grid) {
      this.grid = grid;
      this.key = grid.dataset.draftKey;
      this.note = document.querySelector("[data-draft]");
      this.mine = new Set(); // names of the cells that were typed in this window
    }

    read() {
      try {
        return JSON.parse(localStorage.getItem(this.key)) || { cells: {} };
      } catch {
        return { cells: {} }; // no storage, or not ours
      }
    }

    write(draft) {
      try {
        if (Object.keys(draft.cells).length) localStorage.setItem(this.key, JSON.stringify(draft));
        else localStorage.removeItem(this.key);
      } catch {
        // A full or forbidden storage: the page works without drafts.
      }
    }

    field(name) {
      return [...this.grid.querySelectorAll("[data-recorded]")].find((field) => field.name === name);
    }

    seenIn(row) {
      return row.querySelector("input[type=hidden][name$='-seen']");
    }

    isKept(name, cell) {
      const field = this.field(name);
      if (!field || isSame(cell.value, field.dataset.recorded)) return false;
      const recordedSince = Number(field.closest("tr").dataset.version) > Number(cell.seen);
      if (!recordedSince || !name.endsWith("-reason")) return true;
      return [...field.closest("tr").querySelectorAll("[data-recorded]")].some(
        (other) => other !== field && this.known[other.name] && !isSame(this.known[other.name].value, other.dataset.recorded),
      ); // a reason goes with what it was given for
    }

    keep(field) {
      const draft = this.read();
      this.mine.add(field.name);
      if (isSame(field.value, field.dataset.recorded)) delete draft.cells[field.name];
      else draft.cells[field.name] = { value: field.value, seen: this.seenIn(field.closest("tr")).value };
      draft.at = Date.now();
      this.write(draft);
    }

    leave(box) {
      // What somebody else recorded is to stand: what was typed in that row is not kept any more, until it is again.
      const draft = this.read();
      const row = box.name.replace(/theirs$/, "");
      for (const field of this.grid.querySelectorAll("[data-recorded]")) {
        if (!field.name.startsWith(row)) continue;
        if (box.checked) delete draft.cells[field.name];
        else if (field.value) this.keep(field);
      }
      if (box.checked) this.write(draft);
    }

    start() {
      const draft = this.read();
      this.known = draft.cells;
      draft.cells = Object.fromEntries(Object.entries(this.known).filter(([name, cell]) => this.isKept(name, cell)));
      this.write(draft);
      const offered = Object.entries(draft.cells).filter(([name, cell]) => !isSame(cell.value, this.field(name).value));
      for (const field of this.grid.querySelectorAll("[data-recorded]")) {
        // what the server gave back as typed; an empty cell is nothing that somebody typed
        if (field.value && !isSame(field.value, field.dataset.recorded) && !draft.cells[field.name]) this.keep(field);
      }
      this.grid.addEventListener("input", (event) => {
        if (event.target.matches("[data-recorded]")) this.keep(event.target);
        if (event.target.matches("[name$='-theirs']")) this.leave(event.target);
      });
      if (offered.length) this.offer(offered, draft.at);
    }

    offer(offered, at) {
      const when = new Date(at);
      const day = when.toDateString() === new Date().toDateString() ? "" : ` on ${when.toLocaleDateString()}`;
      const time = when.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
      const cells = offered.length === 1 ? "1 cell" : `${offered.length} cells`;
      this.note.querySelector("[data-draft-words]").textContent = `${cells} typed at ${time}${day} and not recorded.`;
      this.note.hidden = false;
      this.note.querySelector("[data-draft-back]").addEventListener("click", () => this.putBack(offered));
      this.note.querySelector("[data-draft-away]").addEventListener("click", () => this.throwAway(offered));
    }

    putBack(offered) {
      this.note.hidden = true;
      for (const [name, cell] of offered) {
        const field = this.field(name);
        if (this.mine.has(name)) continue; // typed anew meanwhile
        const seen = this.seenIn(field.closest("tr"));
        seen.value = Math.min(Number(seen.value), Number(cell.seen));
        field.value = cell.value;
        field.dispatchEvent(new Event("input", { bubbles: true }));
      }
      const first = this.field(offered[0][0]);
      if (first) first.focus();
    }

    throwAway(offered) {
      this.note.hidden = true;
      const draft = this.read();
      for (const [name] of offered) {
        if (!this.mine.has(name)) delete draft.cells[name];
      }
      this.write(draft);
    }
  }

  for (const grid of document.querySelectorAll("[data-draft-key]")) new Drafts(grid).start();
})();
