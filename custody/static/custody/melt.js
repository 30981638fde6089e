// What a melt lost in per cent of what went in, as it is typed (templates/staff/sampling/melt.html).
//
//   [data-melt-loss]          where the words go
//   [data-balance="in"]       parcels, counted at the book's weight where ticked
//   [data-balance="out"]      the melt and its dip samples; slag takes no part
//   select[name$="-form"]     what came out on a line

import { grams, milligrams } from "./mass.js";

const METAL = ["melt", "granules"];

function before(form) {
  let sum = 0n;
  for (const line of form.querySelectorAll('[data-balance="in"]')) {
    if (!line.querySelector("[data-balance-pick]").checked) continue;
    sum += BigInt(line.querySelector('[data-column="gross"]').dataset.mg ?? 0);
  }
  return sum;
}

/** The metal that came out; null while the melt is not weighed, or a figure can't be read. */
function after(form) {
  let sum = 0n;
  let melts = 0;
  for (const line of form.querySelectorAll('[data-balance="out"]')) {
    const kind = line.querySelector('select[name$="-form"]');
    if (kind && !METAL.includes(kind.value)) continue;
    const gross = milligrams(line.querySelector('[data-weight="gross"]').value);
    const tare = milligrams(line.querySelector('[data-weight="tare"]').value);
    if (gross === undefined || tare === undefined) return null;
    if (gross === null) continue;
    if (kind) melts += 1;
    sum += gross - (tare ?? 0n);
  }
  return melts ? sum : null;
}

/** "0.0833" of 833 parts per million, rounded half up in the ten-thousandth of a per cent. */
function percent(lost, whole) {
  const ppm = (lost * 2000000n + whole) / (whole * 2n);
  return `${ppm / 10000n}.${(ppm % 10000n).toString().padStart(4, "0")}`;
}

function say(form, word) {
  word.hidden = false;
  const whole = before(form);
  const left = after(form);
  if (whole === 0n || left === null) { word.textContent = "Melt loss: not known yet."; return; }
  const lost = whole - left;
  word.textContent = lost >= 0n
    ? `Melt loss: ${grams(lost)} g, ${percent(lost, whole)} % of what goes in.`
    : `The melt weighs ${grams(-lost)} g more than what goes in: flux or slag is still with it, or a weight is wrong.`;
}

for (const word of document.querySelectorAll("[data-melt-loss]")) {
  const form = word.closest("form");
  for (const event of ["input", "change", "rows"]) form.addEventListener(event, () => say(form, word));
  say(form, word);
}
