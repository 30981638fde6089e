// How the losses and the yield that are typed stand to what is usual (templates/staff/plant/usual.html). The running
// balance has summed the lines; its cells are read, so that both always say the same. The book decides on recording.
//
//   [data-usual]            the rule: parts per million, milligrams, the product's metal and forms
//   [data-usual-row="Au"]   a metal: data-now (what is declared, %), data-asked (what the book will ask for)
//   [data-usual-yield]      the yield in words

import { milligrams } from "./mass.js";

const cell = (form, metal, part) => form.querySelector(`[data-balance-row="${metal}"] [data-part="${part}"]`)?.textContent ?? "";
const read = (text) => milligrams(text, true) ?? 0n;

/** Per cent with four decimals of a share of milligrams. */
function percent(part, whole) {
  const size = part < 0n ? -part : part;
  const units = (size * 1000000n) / whole;
  return `${part < 0n ? "−" : ""}${units / 10000n}.${(units % 10000n).toString().padStart(4, "0")} %`;
}

function asked(lost, taken, rule) {
  const size = lost < 0n ? -lost : lost;
  const past = (ppm) => size > rule.grace && size * 1000000n > ppm * taken;
  if (past(rule.tolerance)) return ["reason and a manager", "stop"];
  if (past(rule.band)) return ["a reason", "wait"];
  return ["nothing", "good"];
}

function made(form, rule) {
  let sum = 0n;
  for (const line of form.querySelectorAll('[data-balance="out"]')) {
    if (!rule.forms.includes(line.querySelector("select[name$='-form']")?.value)) continue;
    sum += milligrams(line.querySelector(`[data-metal="${rule.product}"]`)?.value ?? "") ?? 0n;
  }
  return sum;
}

function sayYield(form, rule) {
  const place = form.querySelector("[data-usual-yield]");
  if (!place) return;
  const taken = read(cell(form, rule.product, "in"));
  if (taken <= 0n) { place.textContent = ""; return; }
  const product = made(form, rule);
  const poor = taken - product > rule.grace && product * 1000000n < rule.least * taken;
  place.textContent = `Now ${percent(product, taken)}${poor ? ": less than usual, so a reason and a manager are asked for." : "."}`;
}

function update(form, rule) {
  for (const row of form.querySelectorAll("[data-usual-row]")) {
    const taken = read(cell(form, row.dataset.usualRow, "in"));
    const lost = read(cell(form, row.dataset.usualRow, "loss"));
    row.hidden = taken === 0n && lost === 0n;
    const [word, tone] = asked(lost, taken, rule);
    row.querySelector("[data-now]").textContent = taken > 0n ? percent(lost, taken) : "—";
    const said = row.querySelector("[data-asked]");
    said.dataset.tone = tone;
    said.textContent = word;
  }
  sayYield(form, rule);
}

for (const part of document.querySelectorAll("[data-usual]")) {
  const form = part.closest("form");
  const told = part.dataset;
  const rule = {
    band: BigInt(told.band), tolerance: BigInt(told.tolerance), grace: BigInt(told.grace), least: BigInt(told.least),
    product: told.product, forms: told.forms.split("|"),
  };
  for (const event of ["input", "change", "focusout", "rows"]) form.addEventListener(event, () => queueMicrotask(() => update(form, rule)));
  update(form, rule);
}
