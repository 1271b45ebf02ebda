// Files dropped onto the page are those of its file field, and are looked at at once. Without this file they are chosen.
"use strict";

(() => {
  const form = document.querySelector("[data-readings]");
  const zone = form && form.querySelector("[data-drop]");
  if (!zone) return;
  const field = zone.querySelector("input[type=file]");
  const look = form.querySelector("button[value=look]");
  const hasFiles = (event) => [...(event.dataTransfer ? event.dataTransfer.types : [])].includes("Files");
  let depth = 0; // enter and leave are told of every element inside the page

  function mark(isOver) {
    zone.classList.toggle("over", isOver);
  }

  document.addEventListener("dragenter", (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault();
    depth += 1;
    mark(true);
  });
  document.addEventListener("dragleave", (event) => {
    if (!hasFiles(event)) return;
    depth -= 1;
    if (depth <= 0) mark(false);
  });
  document.addEventListener("dragover", (event) => {
    if (hasFiles(event)) event.preventDefault();
  });
  document.addEventListener("drop", (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault();
    depth = 0;
    mark(false);
    field.files = event.dataTransfer.files;
    form.requestSubmit(look);
  });
  zone.querySelectorAll("[data-drop-words]").forEach((words) => { words.hidden = false; });
})();
