// The hash of a file is computed in the reader's own browser, so that the file need not be sent. Without this script, or
// where the browser has no such function, the file is sent, hashed and forgotten.
"use strict";
(() => {
  const form = document.querySelector("form[data-hash]");
  const able = form && window.crypto && window.crypto.subtle;
  if (!able) return;
  const field = form.querySelector("input[type=file]");
  const hash = form.querySelector("input[name=sha256]");

  const hex = (bytes) => [...new Uint8Array(bytes)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

  async function compare(file) {
    hash.value = hex(await crypto.subtle.digest("SHA-256", await file.arrayBuffer()));
    field.disabled = true; // only the hash is sent
    form.submit();
  }

  form.querySelectorAll("[data-drop-words]").forEach((words) => { words.hidden = false; });
  form.addEventListener("submit", (event) => {
    if (!field.files.length) return;
    event.preventDefault();
    compare(field.files[0]);
  });
  document.addEventListener("dragover", (event) => event.preventDefault());
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files.length) compare(event.dataTransfer.files[0]);
  });
  window.addEventListener("pageshow", () => { field.disabled = false; });
})();
