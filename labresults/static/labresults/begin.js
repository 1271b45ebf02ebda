// A batch by scanner: each scanned label ticks its sample, each lot its reagent. The server says what a code is.
"use strict";

(() => {
  const form = document.getElementById("begin");
  const line = form.querySelector("[data-scan-address]");
  const scan = line.querySelector("input");
  const now = line.querySelector(".now");
  const boxes = () => [...form.querySelectorAll("input[name=samples]")];
  const most = Number(form.dataset.begin);

  function count() {
    const ticked = boxes().filter((box) => box.checked).length;
    const words = form.querySelector("[data-ticked]");
    words.textContent = ticked > most ? `${ticked} are ticked: at most ${most} go into a batch` : `${ticked} of at most ${most} are ticked`;
    words.classList.toggle("word-out", ticked > most);
  }

  function changed(box) {
    box.dispatchEvent(new Event("change", { bubbles: true }));
  }

  function say(words, isWrong, link) {
    now.textContent = words;
    now.classList.toggle("word-out", isWrong);
    if (!link) return;
    const anchor = document.createElement("a");
    anchor.href = link;
    anchor.textContent = "Allow it for today";
    now.append(" ", anchor);
  }

  function tick(name, value, words) {
    const box = [...form.querySelectorAll(`input[name=${name}]`)].find((candidate) => candidate.value === value);
    if (!box) return say(`${words} Load the page again to see it.`, true);
    const isNew = !box.checked;
    box.checked = true;
    changed(box);
    box.closest("tr, label").scrollIntoView({ block: "nearest" });
    return say(isNew ? words : `${words.replace(/ is in\.$/, "")} is in already.`, !isNew);
  }

  async function ask(code) {
    const answer = await fetch(`${line.dataset.scanAddress}?code=${encodeURIComponent(code)}`, { credentials: "same-origin" });
    if (!answer.ok) return say(`“${code}” could not be looked up. Scan it again.`, true);
    const found = await answer.json();
    if (found.kind === "sample") return tick("samples", found.value, found.words);
    if (found.kind === "lot") return tick("reagents", String(found.key), found.words);
    return say(found.words, true, found.link);
  }

  scan.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    const code = scan.value.trim();
    scan.value = "";
    if (code) ask(code).catch(() => say(`“${code}” could not be looked up: no answer. Scan it again.`, true));
  });

  for (const button of form.querySelectorAll("[data-tick]")) {
    button.addEventListener("click", () => {
      const free = boxes().filter((box) => !box.disabled);
      free.forEach((box, place) => { box.checked = button.dataset.tick === "most" && place < most; });
      if (free.length) changed(free[0]);
      scan.focus();
    });
  }

  for (const hidden of form.querySelectorAll(".only-script")) hidden.hidden = false;
  form.addEventListener("change", count);
  count();
})();
