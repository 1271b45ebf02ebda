// The weighing grid at the speed of the hands: a scanned label chooses the tube, the balance types the mass.
// Totals, factors and judgements are shown while typing; the server computes and judges all of them again.
"use strict";

(() => {
  const CLOSE_PART = 0.1; // as the server's, of the allowed span
  const VOLUME_WITHIN = 0.05; // as the server's, of the stated volume
  const SINGLE_KEY_MS = 150; // so long a single T or R waits for more: a scanner types the next letter sooner
  const AMOUNT = /^(?:[a-z]+[\s,]+)*([+-]?)\s*(\d+(?:[.,]\d+)?)\s*(g|mg|kg|ml)?$/i; // words of the balance may stand before

  const grid = document.querySelector("[data-draft-key]");
  const form = document.getElementById("weighing");
  const usual = (name) => (form.elements[name] ? form.elements[name].value.trim() : "");
  const rows = () => [...grid.querySelectorAll("tbody tr[data-labels]")];
  const field = (row, name) => row.querySelector(`[data-column="${name}"]`);
  const typed = (row, name) => (field(row, name) ? field(row, name).value.trim() : "");
  const number = (text) => (text === "" ? NaN : Number(text));
  const shown = (value, figures) => Number(value.toPrecision(figures)).toLocaleString("en", { maximumFractionDigits: 10 }).replace(/,/g, "\u00a0");

  // ---- what is shown while typing

  function stepFactor(text) {
    const amount = "(\\d+(?:\\.\\d+)?)";
    const found = (pattern) => new RegExp(`^${pattern}$`, "i").exec(text);
    let step = found(`${amount}\\s*\\+\\s*${amount}`);
    if (step) return (Number(step[1]) + Number(step[2])) / Number(step[1]);
    step = found(`${amount}\\s*in\\s*${amount}`) || found(`${amount}\\s*mL\\s*to\\s*${amount}\\s*mL`) || found(`${amount}\\s*g\\s*to\\s*${amount}\\s*g`);
    if (step) return Number(step[2]) / Number(step[1]);
    step = found(`[x×]\\s*${amount}`);
    return step ? Number(step[1]) : NaN;
  }

  function totalOf(row) {
    const written = typed(row, "dilution") || usual("usual_dilution");
    if (!written) return 1;
    const steps = written.split("=")[0].split(",").map((step) => step.trim());
    return steps.reduce((total, step) => total * stepFactor(step), 1);
  }

  function volumeOf(row) {
    const final = number(typed(row, "final_g"));
    const density = number(typed(row, "solution_kg_per_L") || usual("usual_kg_per_L"));
    if (final && density) return final / density;
    return number(typed(row, "volume_mL") || usual("usual_volume_mL"));
  }

  function factorOf(row, total) {
    const mass = number(typed(row, "mass_g"));
    if (grid.dataset.kind === "mass made up to volume") return (volumeOf(row) / mass) * total;
    if (grid.dataset.kind === "volume made up to volume") return (volumeOf(row) / number(typed(row, "aliquot_mL"))) * total;
    const solvent = number(typed(row, "solvent_g")) + (number(typed(row, "internal_standard_g")) || 0);
    const solution = typed(row, "final_g") ? number(typed(row, "final_g")) : mass + solvent;
    return (solution / mass) * total;
  }

  function showTotals(row) {
    const total = totalOf(row);
    const mark = document.createElement("b");
    mark.textContent = Number.isFinite(total) ? `× ${shown(total, 10)}` : "?";
    row.querySelector("[data-total]").replaceChildren(mark);
    const factor = factorOf(row, total);
    row.querySelector("[data-factor]").textContent = Number.isFinite(factor) ? shown(factor, 5) : "";
  }

  function svg(name, attributes) {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    return element;
  }

  function gauge(mass, low, high, verdict) {
    const x = (11 + 20 * Math.min(1.45, Math.max(-0.45, (mass - low) / (high - low)))).toFixed(1);
    const kind = { outside: " out", close: " near" }[verdict] || "";
    const drawing = svg("svg", { class: `gauge${kind}`, viewBox: "0 0 42 12", "aria-hidden": "true" });
    drawing.append(svg("line", { class: "mid", x1: 11, y1: 6, x2: 31, y2: 6 }));
    for (const bar of [11, 31]) drawing.append(svg("line", { x1: bar, y1: 0, x2: bar, y2: 12 }));
    drawing.append(verdict === "outside" ? svg("path", { d: `M${x} 1l5 5-5 5-5-5z` }) : svg("circle", { cx: x, cy: 6, r: 3.1 }));
    return drawing;
  }

  function verdictOf(mass) {
    const [low, high] = [Number(grid.dataset.low), Number(grid.dataset.high)];
    if (!grid.dataset.low || Number.isNaN(mass)) return "";
    if (mass < low || mass > high) return "outside";
    return Math.min(mass - low, high - mass) < CLOSE_PART * (high - low) ? "close" : "within";
  }

  function judge(row) {
    const cell = row.querySelector("[data-judged]");
    if (!cell) return;
    const mass = number(typed(row, "mass_g"));
    const verdict = verdictOf(mass);
    cell.replaceChildren();
    if (!verdict) return;
    const word = document.createElement("span");
    word.textContent = verdict;
    word.className = { outside: "word-out", close: "word-near" }[verdict] || "";
    const judged = document.createElement("span");
    judged.className = "judged";
    judged.append(gauge(mass, Number(grid.dataset.low), Number(grid.dataset.high), verdict), word);
    cell.append(judged);
  }

  // Said under the cell while it is typed; the server asks for the reason.
  function judgeVolume(row) {
    const [cell, stated] = [field(row, "volume_mL"), Number(grid.dataset.volume)];
    if (!cell || !stated || grid.dataset.kind === "mass diluted by mass") return;
    cell.parentElement.querySelector("[data-apart]")?.remove();
    if (!(Math.abs(volumeOf(row) - stated) > VOLUME_WITHIN * stated)) return;
    const words = document.createElement("span");
    words.className = "problem";
    words.dataset.apart = "";
    words.textContent = `not ${shown(stated, 10)} mL`;
    cell.after(words);
  }

  function isTouched(row) {
    return [...row.querySelectorAll("[data-recorded]")].some((cell) => cell.value.trim() !== cell.dataset.recorded.trim());
  }

  grid.addEventListener("input", (event) => {
    const row = event.target.closest("tr[data-labels]");
    if (!row) return;
    showTotals(row);
    judgeVolume(row);
    if (event.target.dataset.column === "mass_g") judge(row);
  });

  const PLACEHOLDERS = { usual_volume_mL: "volume_mL", usual_dilution: "dilution", usual_kg_per_L: "solution_kg_per_L" };
  for (const [name, column] of Object.entries(PLACEHOLDERS)) {
    if (!form.elements[name]) continue;
    form.elements[name].addEventListener("input", () => {
      for (const row of rows()) {
        if (field(row, column)) field(row, column).placeholder = usual(name);
        if (!isTouched(row)) continue;
        showTotals(row);
        judgeVolume(row);
      }
    });
  }

  // ---- optional columns

  for (const box of document.querySelectorAll("[data-also]")) {
    const show = () => {
      for (const cell of grid.querySelectorAll("[data-group]")) {
        if (cell.dataset.group === box.dataset.also) cell.hidden = !box.checked;
      }
    };
    box.addEventListener("change", show);
    show();
  }
  document.querySelector("[data-toggles]").hidden = !document.querySelector("[data-also]");

  // ---- the scan line

  const line = document.querySelector("[data-scanline]");
  const scan = line.querySelector("input");
  const now = line.querySelector(".now");
  let current = null;
  let takes = "mass"; // or tare
  let again = false;

  const PORTION = ["mass_g", "aliquot_mL"];
  const portionOf = (row) => PORTION.map((name) => field(row, name)).find(Boolean);
  const isBlank = (row) => portionOf(row).placeholder === "none";
  const isOpen = (row) => (isBlank(row) ? !typed(row, "volume_mL") && row.dataset.version === "0" : portionOf(row).value.trim() === "");
  const tubeOf = (row) => row.dataset.tube;
  const labelOf = (row) => row.dataset.labels.split("|")[0];

  function say(words, isWrong) {
    now.textContent = words;
    now.classList.toggle("word-out", Boolean(isWrong));
  }

  function choose(row, words) {
    for (const other of rows()) other.removeAttribute("aria-current");
    current = row;
    takes = "mass";
    again = false;
    if (!row) return;
    row.setAttribute("aria-current", "true");
    row.scrollIntoView({ block: "nearest" });
    if (words) say(words);
  }

  function asks(row) {
    const named = `Tube ${tubeOf(row)}, ${row.querySelector("[data-what]").textContent}.`;
    if (isBlank(row)) return `${named} Nothing is weighed in; Enter says that it is made up.`;
    if (!isOpen(row)) return `${named} It has ${portionOf(row).value}. Press R to weigh it again.`;
    const tare = typed(row, "tare_g") ? ` Tare ${typed(row, "tare_g")} g is taken.` : "";
    const window = grid.dataset.low ? ` ${grid.dataset.low} to ${grid.dataset.high} g.` : "";
    return `${named}${tare} ${portionOf(row).dataset.column === "mass_g" ? "Weigh it in." : "Type the volume taken, mL."}${window}`;
  }

  function next() {
    const all = rows();
    const from = current ? all.indexOf(current) + 1 : 0;
    const open = [...all.slice(from), ...all.slice(0, from)].find(isOpen);
    if (open) choose(open, `${asks(open)}`);
    else choose(null);
    if (!open) say("Every tube has its amount. Record what is filled in.");
  }

  function put(cell, text) {
    cell.value = text;
    cell.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function take(text, unit) {
    const isTare = takes === "tare";
    const cell = isTare ? field(current, "tare_g") : portionOf(current);
    const wanted = cell.dataset.column === "aliquot_mL" ? "mL" : "g";
    if (unit && unit.toLowerCase() !== wanted.toLowerCase()) {
      return say(`This is in ${unit}, and ${wanted} is wanted. Set the balance to ${wanted}, and take it again.`, true);
    }
    if (isTare) {
      put(cell, text);
      takes = "mass";
      return say(`Tube ${tubeOf(current)}: tare ${text} g is taken. Weigh the portion in.`);
    }
    if (isBlank(current)) return say(`Tube ${tubeOf(current)} is a blank: nothing is weighed in. Scan the next label.`, true);
    if (!isOpen(current) && !again) return say(asks(current), true);
    put(cell, text);
    again = false;
    if (wanted === "g" && verdictOf(Number(text)) === "outside") {
      return say(`${text} g lies outside ${grid.dataset.low} to ${grid.dataset.high} g. Press R and weigh again, or give a reason in the row.`, true);
    }
    return next();
  }

  // A balance writes decimals or a unit; a bare whole number may be anything, but for a volume that hands type.
  function isAmount(amount) {
    if (!amount) return false;
    return /[.,]/.test(amount[2]) || Boolean(amount[3]) || Boolean(current && portionOf(current).dataset.column === "aliquot_mL");
  }

  function isTaken(text) {
    const amount = AMOUNT.exec(text);
    if (!isAmount(amount)) return false;
    if (!current) say("Scan the label of the tube first: this amount was not put anywhere.", true);
    else if (amount[1] === "-") say("The balance shows less than nothing. Tare it, and weigh again.", true);
    else if (amount[2].includes(",")) say("The balance sends a decimal comma. Set it to a point, or type the amount.", true);
    else take(amount[2], amount[3]);
    return true;
  }

  function findRow(label) {
    const wanted = label.toUpperCase();
    return rows().find((row) => row.dataset.labels.toUpperCase().split("|").includes(wanted));
  }

  function enter(text) {
    if (text === "") return pass();
    const row = findRow(text);
    if (row) {
      const isOld = text.toUpperCase() !== labelOf(row).toUpperCase();
      return choose(row, `${isOld ? `${text} was discarded; ${labelOf(row)} is taken instead. ` : ""}${asks(row)}`);
    }
    if (isTaken(text)) return undefined;
    choose(null);
    return say(`“${text}” is not a tube of this batch. No tube is chosen: scan again.`, true);
  }

  function pass() {
    if (current && isBlank(current) && isOpen(current) && usual("usual_volume_mL")) put(field(current, "volume_mL"), usual("usual_volume_mL"));
    next();
  }

  function key(letter) {
    scan.value = "";
    if (!current) return say("Scan the label of a tube first.", true);
    if (letter === "t" && field(current, "tare_g")) {
      takes = "tare";
      return say(`Tube ${tubeOf(current)}: put the empty vessel on.`);
    }
    if (letter === "r") {
      again = true;
      takes = "mass";
      return say(`Tube ${tubeOf(current)}: weigh it again. ${portionOf(current).value} stays in the grid until then.`);
    }
    return undefined;
  }

  scan.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    const text = scan.value.trim();
    scan.value = "";
    if (/^[tr]$/i.test(text)) key(text.toLowerCase());
    else enter(text);
  });

  scan.addEventListener("input", () => {
    const letter = scan.value.trim().toLowerCase();
    if (letter !== "t" && letter !== "r") return;
    setTimeout(() => {
      if (scan.value.trim().toLowerCase() === letter) key(letter);
    }, SINGLE_KEY_MS);
  });

  line.hidden = false;
  const linked = location.hash && rows().find((row) => `#${row.id}` === location.hash);
  if (linked) choose(linked, asks(linked));
})();
