// A scanner types fast and ends with Enter: what it read is opened where the person works. "/" goes to the box at the
// top, arrow keys go through what is found below it. Nothing here decides anything: the server knows what a code opens.
"use strict";

const QUICK_MS = 35; // from key to key; hands are slower (common practice, no source)
const FEWEST = 5; // letters of a code
const TEXTUAL = "textarea, select, [contenteditable], input:not([type=checkbox], [type=radio], [type=button], [type=submit], [type=reset], [type=file], [type=range], [type=image])";
const OPENS = document.currentScript.dataset.opens;
const box = document.getElementById("find");
let burst = "";
let before = -Infinity;

// A field keeps what is scanned into it, and so does whatever is marked data-scan; the box at the top opens it.
const keeps = (target) => target !== box && Boolean(target.closest("[data-scan]") || target.matches(TEXTUAL));

const say = (words) => {
  document.getElementById("scanned").textContent = words;
};

function open(code) {
  say(`${code} is scanned, and opens.`);
  sessionStorage.setItem("scanned", code);
  location.assign(`${OPENS}?code=${encodeURIComponent(code)}`);
}

function heard(event) {
  if (event.key === "Shift" || event.key === "CapsLock") return;
  const isQuick = event.timeStamp - before <= QUICK_MS;
  const isPlain = !event.ctrlKey && !event.altKey && !event.metaKey && !event.isComposing;
  if (event.key === "Enter" && isPlain && isQuick && burst.length >= FEWEST && !keeps(event.target)) {
    event.preventDefault();
    event.stopPropagation();
    open(burst);
  }
  const isLetter = isPlain && event.key.length === 1;
  burst = isLetter ? (isQuick ? burst : "") + event.key : "";
  before = isLetter ? event.timeStamp : -Infinity;
  if (burst.length > 1 && event.key === " " && !event.target.matches(TEXTUAL)) event.preventDefault(); // presses nothing
}

function goThrough(event) {
  const links = [...document.querySelectorAll("#as-typed a")];
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  const place = links.indexOf(event.target);
  if (event.key === "Escape") {
    document.getElementById("as-typed").replaceChildren();
    box.focus();
  } else if (step && links.length && (place >= 0 || event.target === box)) {
    event.preventDefault();
    (links[place + step] || box).focus();
  }
}

if (box) {
  document.addEventListener("keydown", (event) => {
    const isFirst = event.timeStamp - before > QUICK_MS;
    if (event.key === "/" && isFirst && !event.target.matches(TEXTUAL) && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      box.focus();
      box.select();
      return;
    }
    heard(event);
  }, true);
  box.form.addEventListener("keydown", goThrough);
  box.form.addEventListener("focusout", (event) => {
    if (!box.form.contains(event.relatedTarget)) document.getElementById("as-typed").replaceChildren();
  });
  const code = sessionStorage.getItem("scanned");
  sessionStorage.removeItem("scanned");
  if (code) setTimeout(() => say(`${code} was scanned; this is what it opens.`), 100); // a status is read when it changes
}
