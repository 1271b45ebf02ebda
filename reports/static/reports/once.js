// What takes long says at once that it works, and is sent once however often its button is pressed. Without this script
// the second try is refused by its form key, in words.
"use strict";
(() => {
  const sent = new Map();

  document.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (!button || !button.dataset.once) return;
    if (sent.has(event.target)) {
      event.preventDefault();
      return;
    }
    const words = document.createElement("p");
    words.className = "hint";
    words.setAttribute("role", "status");
    button.closest(".acts").after(words);
    words.textContent = button.dataset.once; // after it stands in the page, so that it is read aloud
    button.setAttribute("aria-disabled", "true");
    sent.set(event.target, () => { words.remove(); button.removeAttribute("aria-disabled"); });
  });

  // Who comes back by the browser's own button finds the form as it was.
  window.addEventListener("pageshow", () => { sent.forEach((undo) => undo()); sent.clear(); });
})();
