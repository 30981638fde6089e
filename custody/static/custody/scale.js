// A weight field that has the focus and is blank is filled with what its scale sends (templates/ui/weighing.html).
//
//   [data-weighing]         where to ask for readings, and where the words go
//   [data-scale]            the scale: in the row of the weight, or of the whole form
//   input[data-weight]      a weight; with data-exact in six decimals
//   input[data-reading]     hidden, of the same name as its weight: the id of the reading that filled it
//
// Only readings sent after the first look at a scale count, so that an old one fills nothing. A field that holds
// something is left alone, and what is typed over a reading is a weight keyed by hand.

const EVERY_MS = 1000;
const word = document.querySelector("[data-weighing]");
const seen = new Map(); // scale: the last reading known of it
let asking = false;
let refused = false; // who may not weigh is not asked for again

function around(field) {
  return field.closest("[data-row]") ?? field.form;
}

function scaleOf(field) {
  const select = around(field).querySelector("[data-scale]") ?? field.form.querySelector("[data-scale]");
  return select?.value ?? "";
}

function hiddenOf(field) {
  return around(field).querySelector(`input[data-reading="${field.dataset.weight}"]`);
}

function say(words, state) {
  if (!word || word.textContent === words) return;
  word.textContent = words;
  word.dataset.state = state;
}

function awaited() {
  const field = document.activeElement;
  const waits = field?.matches("input[data-weight]") && field.form && field.value.trim() === "" && !document.hidden;
  return waits && scaleOf(field) ? field : null;
}

async function ask(scale) {
  const asked = new URLSearchParams({ scale, after: seen.get(scale) ?? "" });
  try {
    const answer = await fetch(`${word.dataset.weighing}?${asked}`, { headers: { Accept: "application/json" } });
    refused ||= answer.status === 403;
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

function fill(field, scale, reading) {
  field.value = "exact" in field.dataset ? reading.exact : reading.grams;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  field.dispatchEvent(new Event("change", { bubbles: true }));
  const hidden = hiddenOf(field);
  if (hidden) hidden.value = reading.id;
  say(`${field.value} g from scale ${scale}, sent at ${reading.at}.`, "read");
  field.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true })); // scanner.js moves on
}

async function look() {
  const field = awaited();
  if (!field || asking || refused) return;
  asking = true;
  const scale = scaleOf(field);
  const first = !seen.has(scale);
  const reading = await ask(scale);
  asking = false;
  if (!reading) return;
  const still = awaited() === field && scaleOf(field) === scale;
  if (reading.id && !still) return; // the cursor moved on meanwhile: the field that has it now asks again
  seen.set(scale, reading.last);
  if (reading.id) fill(field, scale, reading);
  else if (first && still) say(`Scale ${scale} can send the weight, or type it.`, "quiet");
}

if (word) {
  setInterval(look, EVERY_MS);
  document.addEventListener("focusin", look);
  document.addEventListener("input", (event) => {
    if (!event.isTrusted || !event.target.matches?.("input[data-weight]")) return;
    const hidden = hiddenOf(event.target);
    if (hidden) hidden.value = "";
  });
}
