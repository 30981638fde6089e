// The running balance of a form that moves metal, shown as it is typed.
//
//   form[data-balance-form]             the form
//   [data-balance="in|add|out|loss"]    a line of it
//   input[data-metal="gross|Au|…"]      grams typed on that line
//   [data-metal][data-mg]               a figure of the line that is fixed, in milligrams
//   input[data-tare]                    grams of the line's container: its gross counts without them
//   input[data-litres] [data-density]   litres and g/mL of the line: their product is its gross
//   input[data-balance-part]            grams to take of a line's fixed figures; blank takes all of them
//   input[data-balance-after]           on a line in: what the piece weighs afterwards, and so goes out; blank: unchanged
//   input[data-balance-pick]            a checkbox: the line counts only while it is ticked
//   select[data-balance-metal]      the metal of the bars that the form casts
//   input[data-fineness]            parts per thousand of it in a line: its fine metal is reckoned from the gross
//   input[data-balance-rest]        gross of the remainder, which takes what the bars leave of every metal
//   [data-balance-row] [data-part]      where the figures go (templates/ui/balance.html)
//   [data-balance-word]                 where the words go

import { apportion, fine, grams, milligrams, permille } from "./mass.js";

const UNREAD = "Write grams with digits and a point, at most three decimals, like 1234.567. A unit may follow: g, kg, mg or ozt.";

function mark(input, wrong) {
  const id = `${input.id}_unread`;
  const told = document.getElementById(id);
  if (wrong === Boolean(told)) return;
  if (wrong && document.getElementById(`${input.id}_error`)) return; // the book has said it already
  const others = (input.getAttribute("aria-describedby") ?? "").split(" ").filter((name) => name && name !== id);
  if (wrong) {
    const sentence = document.createElement("p");
    sentence.className = "field-error";
    sentence.id = id;
    sentence.textContent = UNREAD;
    input.after(sentence);
    input.setAttribute("aria-invalid", "true");
    others.push(id);
  } else {
    told.remove();
    input.removeAttribute("aria-invalid");
  }
  if (others.length) input.setAttribute("aria-describedby", others.join(" "));
  else input.removeAttribute("aria-describedby");
}

function read(input) {
  const mg = milligrams(input.value, "signed" in input.dataset);
  mark(input, mg === undefined);
  return mg;
}

/** The line's figures: a Map of column to milligrams, or undefined when one can't be read. */
function figures(line) {
  const typed = new Map();
  const fixed = new Map();
  let unread = false;
  for (const element of line.querySelectorAll("[data-metal]")) {
    if ("mg" in element.dataset) {
      fixed.set(element.dataset.metal, BigInt(element.dataset.mg));
    } else {
      const mg = read(element);
      if (mg === undefined) unread = true;
      else if (mg !== null) typed.set(element.dataset.metal, mg);
    }
  }
  const tare = typed.has("gross") ? line.querySelector("input[data-tare]") : null;
  if (tare) {
    const mg = read(tare);
    if (mg === undefined) unread = true;
    else typed.set("gross", typed.get("gross") - (mg ?? 0n));
  }
  const litres = line.querySelector("input[data-litres]");
  if (litres && litres.value.trim()) {
    const [ml, density] = [milligrams(litres.value), milligrams(line.querySelector("input[data-density]").value)];
    if (ml && density) typed.set("gross", ml * density);
    else unread = true;
  }
  const fineness = line.querySelector("[data-fineness]");
  if (fineness && typed.has("gross")) {
    const ppm = permille(fineness.value);
    if (ppm === undefined) unread = true;
    else if (ppm !== null) typed.set(line.closest("form").querySelector("[data-balance-metal]").value, fine(typed.get("gross"), ppm));
  }
  const part = line.querySelector("[data-balance-part]");
  const taken = part ? read(part) : null;
  if (unread || taken === undefined) return undefined;
  return new Map([...(taken === null ? fixed : share(fixed, taken)), ...typed]);
}

function share(fixed, taken) {
  const gross = fixed.get("gross") ?? 0n;
  const metals = new Map([...fixed].filter(([column]) => column !== "gross"));
  if (taken >= gross) return new Map([...metals, ["gross", taken]]); // more than there is: the book will refuse it
  return new Map([["gross", taken], ...apportion(taken, gross, metals)]);
}

function total(form) {
  const sums = { in: new Map(), out: new Map(), loss: new Map() };
  let unread = 0;
  for (const line of form.querySelectorAll("[data-balance]")) {
    const pick = line.querySelector("[data-balance-pick]");
    if (pick && !pick.checked) continue;
    const found = figures(line);
    if (found === undefined) { unread += 1; continue; }
    const side = sums[line.dataset.balance === "add" ? "in" : line.dataset.balance];
    for (const [column, mg] of found) side.set(column, (side.get(column) ?? 0n) + mg);
    const after = line.querySelector("[data-balance-after]");
    const left = after ? read(after) : null;
    if (left === undefined) unread += 1;
    else if (after) sums.out.set("gross", (sums.out.get("gross") ?? 0n) + (left ?? found.get("gross") ?? 0n));
  }
  leaveInRest(form, sums);
  return { sums, unread };
}

/** Cast from a melt, what the bars leave of a metal goes to the remainder; other metals it can't hold stay in the bars. */
function leaveInRest(form, sums) {
  const metal = form.querySelector("[data-balance-metal]")?.value;
  if (!metal) return;
  const open = (column) => ["in", "out", "loss"].map((side) => sums[side].get(column) ?? 0n).reduce((a, b) => a - b);
  const leave = (column, most) => {
    const left = open(column) < most ? open(column) : most;
    if (left > 0n) sums.out.set(column, (sums.out.get(column) ?? 0n) + left);
  };
  const rest = [...form.querySelectorAll("[data-balance-rest]")].reduce((sum, input) => sum + (milligrams(input.value) ?? 0n), 0n);
  leave(metal, rest);
  for (const column of sums.in.keys()) {
    if (column === "gross" || column === metal) continue;
    const metals = [...sums.out].filter(([name]) => name !== "gross").reduce((sum, [, mg]) => sum + mg, 0n);
    leave(column, (sums.out.get("gross") ?? 0n) - metals);
  }
}

function say(form, open, unread, touched) {
  const word = form.querySelector("[data-balance-word]");
  let state = "open";
  let text = open.map(([column, mg]) => (mg > 0n
    ? `${grams(mg)} g ${column} still to explain`
    : `${grams(-mg)} g ${column} more out than in`)).join("; ");
  if (unread) {
    state = "unread";
    text = unread === 1 ? "One line can't be read; the balance waits for it." : `${unread} lines can't be read; the balance waits for them.`;
  } else if (!touched) {
    state = "none";
    text = "Nothing to balance yet.";
  } else if (!open.length) {
    state = "balanced";
    text = "Balanced to the milligram.";
  }
  word.dataset.state = state;
  if (word.textContent !== text) word.textContent = text;
}

/** A figure half typed, like "1.", is no mistake yet: the balance waits until it can be read or is left. */
function typing(form) {
  const input = document.activeElement;
  if (!form.contains(input)) return false;
  if (input.matches("[data-fineness]")) return permille(input.value) === undefined;
  return input.matches("input[data-metal], [data-tare], [data-balance-part], [data-balance-after]") && milligrams(input.value, "signed" in input.dataset) === undefined;
}

function update(form) {
  if (typing(form)) return;
  const { sums, unread } = total(form);
  const open = [];
  let touched = false;
  for (const row of form.querySelectorAll("[data-balance-row]")) {
    const column = row.dataset.balanceRow;
    const [inn, out, loss] = ["in", "out", "loss"].map((side) => sums[side].get(column) ?? 0n);
    const rest = inn - out - loss;
    touched ||= inn !== 0n || out !== 0n || loss !== 0n;
    const shown = { in: inn, out, loss, open: rest };
    for (const cell of row.querySelectorAll("[data-part]")) cell.textContent = grams(shown[cell.dataset.part]);
    row.toggleAttribute("data-open", rest !== 0n);
    if (rest !== 0n) open.push([column, rest]);
  }
  say(form, open, unread, touched);
}

for (const form of document.querySelectorAll("form[data-balance-form]")) {
  for (const event of ["input", "change", "focusout", "rows"]) form.addEventListener(event, () => update(form));
  update(form);
}
