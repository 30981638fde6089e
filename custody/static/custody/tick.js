// Scanning a list of a shift handover (templates/staff/vault/shift_list.html): what is scanned is ticked at once.
//
//   textarea[data-tick]     where the scanner writes; a line that names a lot of the list is ticked and taken away
//   [data-codes]            a row: what its labels say (its box and seal too), in capitals, one a line; its checkbox is the tick
//   [data-tick-word]        where it is said
//
// What is not on the list stays in the field, so that the book says where it is when the list is sent.

const field = document.querySelector("textarea[data-tick]");
const word = document.querySelector("[data-tick-word]");
const rows = [...document.querySelectorAll("[data-codes]")];
const tickOf = (row) => row.querySelector('input[type="checkbox"]');

function count() {
  const ticked = rows.filter((row) => tickOf(row).checked).length;
  return `${ticked} of ${rows.length} scanned.`;
}

function take(line) {
  const code = line.trim().split(/\s+/).join(" ").toUpperCase();
  const named = rows.filter((one) => one.dataset.codes.split("\n").includes(code)); // several: the bars of a box
  const [row] = named;
  if (!row) return `${line.trim()} is not on this list. `;
  if (named.length > 1) {
    named.forEach((one) => { tickOf(one).checked = true; });
    return `${line.trim()}: ${named.length} bars are there. `;
  }
  const again = tickOf(row).checked;
  tickOf(row).checked = true;
  return `${row.querySelector("th").textContent.trim()} ${again ? "was scanned before" : "is there"}. `;
}

function read() {
  let said = "";
  const kept = field.value.split("\n").filter((line) => {
    if (line.trim() === "") return false;
    const answer = take(line);
    said += answer;
    return answer.includes("is not on this list");
  });
  field.value = kept.length ? `${kept.join("\n")}\n` : "";
  word.textContent = said + count();
}

if (field && word) {
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    event.preventDefault();
    read();
  });
  field.form.addEventListener("submit", read, { capture: true });
  document.addEventListener("change", (event) => {
    if (event.target.matches('[data-codes] input[type="checkbox"]')) word.textContent = count();
  });
  word.textContent = count();
}
