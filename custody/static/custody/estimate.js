// What a parcel may hold by what is declared of it, as the server estimates it: words below the row, never a figure of
// the book (templates/staff/counter/estimate.html).
//
//   form[data-estimates]   the address that is asked
//   [data-row]             a parcel: fields whose names end in gross, tare, declared, declared_ag
//   [data-estimate]        where the words go

const ASKED = ["gross", "tare", "declared", "declared_ag"];
const PAUSE_MS = 350;
const waiting = new WeakMap();

function typed(row) {
  return new URLSearchParams(ASKED.map((name) => [name, row.querySelector(`[name$="-${name}"]`)?.value.trim() ?? ""]));
}

async function ask(form, row) {
  const said = typed(row);
  const word = row.querySelector("[data-estimate]");
  let sentences = [];
  if (said.get("gross") && (said.get("declared") || said.get("declared_ag"))) {
    try {
      const answer = await fetch(`${form.dataset.estimates}?${said}`, { headers: { Accept: "application/json" } });
      if (answer.ok) sentences = (await answer.json()).sentences;
    } catch {
      return; // without the server there is no estimate, and nothing else is lost
    }
  }
  if (typed(row).toString() !== said.toString()) return; // typed on meanwhile: another answer is coming
  word.textContent = sentences.join(" ");
  word.hidden = sentences.length === 0;
}

function soon(form, row) {
  clearTimeout(waiting.get(row));
  waiting.set(row, setTimeout(ask, PAUSE_MS, form, row));
}

for (const form of document.querySelectorAll("form[data-estimates]")) {
  form.addEventListener("input", (event) => {
    const row = event.target.closest("[data-row]");
    if (row && ASKED.some((name) => event.target.name.endsWith(`-${name}`))) soon(form, row);
  });
  for (const row of form.querySelectorAll("[data-row]")) soon(form, row);
}
