// What the book says of a lot, as soon as its number is scanned or typed (templates/ui/lot_input.html).
//
//   input[data-lot-look]    the lot's number
//   [data-lot-book]         beside it: where to ask, and where the answer goes
//   [data-column]           a figure of it; with data-metal and data-mg the running balance counts it

import { grams } from "./mass.js";

const SILENT = "The book can't be reached now. The lot is checked when you record.";

function show(box, { words = "", mg = {} }) {
  const known = Object.keys(mg).length > 0;
  box.hidden = !words;
  box.querySelector("[data-lot-words]").textContent = words;
  box.querySelector("dl").hidden = !known;
  for (const cell of box.querySelectorAll("[data-column]")) {
    const column = cell.dataset.column;
    if (column in mg) {
      cell.dataset.metal = column;
      cell.dataset.mg = mg[column];
      cell.textContent = grams(BigInt(mg[column]));
    } else {
      delete cell.dataset.metal;
      delete cell.dataset.mg;
      cell.textContent = "—";
    }
  }
  box.dispatchEvent(new Event("rows", { bubbles: true })); // the running balance counts anew
}

async function ask(address, code) {
  try {
    const answer = await fetch(`${address}?${new URLSearchParams({ code })}`, { headers: { Accept: "application/json" } });
    return answer.ok ? await answer.json() : { words: SILENT };
  } catch {
    return { words: SILENT };
  }
}

async function look(input) {
  const box = input.parentElement.querySelector("[data-lot-book]");
  const code = input.value.trim();
  if (code === "") { show(box, {}); return; }
  const book = await ask(box.dataset.lotBook, code);
  if (input.value.trim() === code) show(box, book); // else another lot was scanned meanwhile
}

document.addEventListener("change", (event) => {
  if (event.target.matches("input[data-lot-look]")) look(event.target);
});
