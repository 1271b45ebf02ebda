// The run list is moved here, by drag, arrow, key or number; the server numbers it anew and says which rules it breaks.
// Everything works without this file: each button and number is a field of the form.
"use strict";

(() => {
  const form = document.getElementById("plan");
  const area = document.getElementById("run-list");
  const EDGE_PX = 70; // so near the edge of the window, a drag scrolls the page
  let held = null; // where the keyboard was before the list was drawn anew: place in the list, and which control

  const list = () => area.querySelector("[data-run-list]");
  const rows = () => (list() ? [...list().children] : []);
  const rowOf = (element) => element.closest("[data-run-list] > li");
  form.classList.add("scripted");

  function say() {
    rows().forEach((row, place) => { row.querySelector("[name=at]").value = place + 1; });
    area.querySelector("[name=order]").value = rows().map((row) => row.dataset.key).join(" ");
    form.dispatchEvent(new Event("reordered"));
  }

  function move(row, to, control) {
    const all = rows();
    const from = all.indexOf(row);
    const place = Math.min(Math.max(to, 0), all.length - 1);
    if (place !== from) all[place][place < from ? "before" : "after"](row);
    hold(row, control);
    if (place !== from) say();
  }

  function hold(row, control) {
    held = { place: rows().indexOf(row), control };
    focus();
  }

  function focus() {
    const row = held && rows()[held.place];
    const control = row && row.querySelector(held.control);
    if (!control) return;
    control.focus({ preventScroll: true });
    row.scrollIntoView({ block: "nearest" });
  }

  function ask(step) {
    htmx.ajax("POST", area.getAttribute("hx-post"), { source: area, target: area, values: { step } });
  }

  area.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=step]");
    if (!button) return;
    event.preventDefault();
    const [what] = button.value.split(":");
    const row = rowOf(button);
    if (!row) return ask(button.value);
    const place = rows().indexOf(row);
    if (what === "remove") {
      row.remove();
      held = { place: Math.min(place, rows().length - 1), control: "[name=at]" };
      focus();
      return say();
    }
    return move(row, what === "up" ? place - 1 : place + 1, `[value^=${what}]`);
  });

  area.addEventListener("keydown", (event) => {
    const row = rowOf(event.target);
    if (!row) return;
    const step = { ArrowUp: -1, ArrowDown: 1 }[event.key];
    if (event.altKey && step) {
      event.preventDefault();
      move(row, rows().indexOf(row) + step, "[name=at]");
    } else if (event.key === "Enter" && event.target.name === "at") {
      event.preventDefault();
      move(row, Number(event.target.value) - 1, "[name=at]");
    }
  });

  area.addEventListener("change", (event) => {
    if (event.target.name === "at") move(rowOf(event.target), Number(event.target.value) - 1, "[name=at]");
    event.stopPropagation(); // what is put in, and where, waits for its button
  });

  // The order says it all: a thousand numbers beside it need not travel.
  form.addEventListener("formdata", (event) => event.formData.delete("at"));

  area.addEventListener("pointerdown", (event) => {
    const grip = event.target.closest("[data-grip]");
    if (!grip || event.button) return;
    event.preventDefault();
    const row = rowOf(grip);
    const before = rows().indexOf(row);
    row.classList.add("dragged");

    function drag(moving) {
      const other = rows().find((one) => one !== row && over(one, moving.clientY));
      if (other) other[rows().indexOf(other) < rows().indexOf(row) ? "before" : "after"](row);
      if (moving.clientY < EDGE_PX) window.scrollBy(0, -EDGE_PX / 4);
      if (moving.clientY > window.innerHeight - EDGE_PX) window.scrollBy(0, EDGE_PX / 4);
    }
    function drop() {
      document.removeEventListener("pointermove", drag);
      for (const end of ["pointerup", "pointercancel"]) document.removeEventListener(end, drop);
      row.classList.remove("dragged");
      if (rows().indexOf(row) !== before) {
        hold(row, "[name=at]");
        say();
      }
    }
    // The document listens: an element that is moved loses a pointer that it has captured.
    document.addEventListener("pointermove", drag);
    for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, drop);
  });

  function over(row, y) {
    const box = row.getBoundingClientRect();
    return y >= box.top && y <= box.bottom;
  }

  document.addEventListener("htmx:afterSettle", (event) => {
    if (event.target === area && area.contains(document.activeElement) === false && document.activeElement === document.body) focus();
  });
})();
