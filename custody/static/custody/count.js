// A count by scan (templates/staff/vault/count.html): every line of the field is one label; the page says of each at
// once whether it belongs here, and keeps what was scanned on this device until the count is recorded.
//
//   textarea[data-count]    where the scanner writes; its lines are what is counted
//   [data-count-word]       how many, and what the last one is
//   [data-count-list]       one row a label: its code, and what the book says of it
//   [data-count-kept]       under which name it is kept; on the page of a recorded count it is let go
//   [data-count-anew]       empties it

const field = document.querySelector("textarea[data-count]");
const word = document.querySelector("[data-count-word]");
const list = document.querySelector("[data-count-list]");
const box = document.querySelector("[data-count-kept]");
const kept = box?.dataset.countKept ?? "";
const said = new Map(); // code in capitals: what the book says of it; null where it could not be asked
let tail = ""; // what is told of the last scan
let turn = 0;

const codes = () => field.value.split("\n").map((line) => line.trim().split(/\s+/).join(" ")).filter((code) => code !== "");

function keep() {
  try {
    if (field.value.trim() === "") localStorage.removeItem(kept);
    else localStorage.setItem(kept, field.value);
  } catch { /* a device that keeps nothing counts all the same */ }
}

async function ask(code) {
  try {
    const answer = await fetch(`${list.dataset.countList}?${new URLSearchParams({ code })}`, { headers: { Accept: "application/json" } });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

function row(code) {
  const item = document.createElement("li");
  const name = document.createElement("strong");
  const words = document.createElement("span");
  const book = said.get(code.toUpperCase());
  name.textContent = code;
  if (book) words.textContent = book.here ? book.words : `NOT HERE BY THE BOOK. ${book.words}`;
  else words.textContent = book === null ? "The book can't be reached now: it is compared at the end." : "…";
  item.dataset.here = book ? String(book.here) : "";
  item.append(name, " ", words);
  return item;
}

function draw() {
  const all = codes();
  const astray = all.filter((code) => said.get(code.toUpperCase())?.here === false).length;
  list.replaceChildren(...all.toReversed().map(row));
  word.textContent = `${all.length} scanned${astray ? `, ${astray} not here by the book` : ""}. ${tail}`;
}

async function read() {
  const mine = ++turn;
  const seen = new Set();
  let again = "";
  const unique = codes().filter((code) => {
    const known = seen.has(code.toUpperCase());
    if (known) again = `${code} was scanned before.`;
    seen.add(code.toUpperCase());
    return !known;
  });
  if (again) field.value = `${unique.join("\n")}\n`;
  keep();
  const fresh = unique.filter((code) => !said.has(code.toUpperCase()));
  tail = again || (fresh.length ? `${fresh.at(-1)}: asking the book.` : "");
  draw();
  const answers = await Promise.all(fresh.map(ask));
  fresh.forEach((code, index) => said.set(code.toUpperCase(), answers[index]));
  // Another label was scanned while the book was asked: what is told is about that one.
  if (mine === turn && fresh.length && !again) tail = row(fresh.at(-1)).textContent;
  draw();
}

if (field) {
  field.addEventListener("input", () => { keep(); if (field.value.endsWith("\n")) read(); });
  // A label typed without Enter is read a little later: else what is told moves the button that is being pressed.
  field.addEventListener("change", () => setTimeout(read, 300));
  document.querySelector("[data-count-anew]")?.addEventListener("click", () => {
    field.value = "";
    said.clear();
    read();
    field.focus();
  });
  let back = null;
  try { back = localStorage.getItem(kept); } catch { /* nothing was kept */ }
  const taken = field.value.trim() === "" && back;
  if (taken) field.value = back;
  read().then(() => {
    if (!taken) return;
    tail = "What was scanned before on this device is taken back.";
    draw();
  });
} else if (kept) {
  try { localStorage.removeItem(kept); } catch { /* nothing was kept */ }
}
