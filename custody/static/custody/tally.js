// What the lots of a list come to as they are scanned (templates/staff/vault/tally.html).
//
//   textarea[data-tally]     one code a line
//   [data-tally-word]        where to ask, and where the answer goes: how many, gross and fine, what is unknown
//
// Only whole lines are asked about: a scanner ends each with Enter.

const field = document.querySelector("textarea[data-tally]");
const word = document.querySelector("[data-tally-word]");
let asked = "";

function codes() {
  return field.value.split("\n").map((line) => line.trim()).filter((line) => line !== "");
}

async function count() {
  const query = new URLSearchParams(codes().map((code) => ["code", code])).toString();
  if (query === asked) return;
  asked = query;
  if (query === "") { word.textContent = ""; return; }
  try {
    const answer = await fetch(`${word.dataset.tallyWord}?${query}`, { headers: { Accept: "application/json" } });
    const said = answer.ok ? (await answer.json()).words : "";
    if (query === asked) word.textContent = said; // else more was scanned meanwhile
  } catch {
    asked = ""; // the next line asks again
  }
}

if (field && word) {
  field.addEventListener("input", () => { if (field.value.endsWith("\n") || field.value === "") count(); });
  field.addEventListener("change", count);
  count();
}
