// Adding and removing rows of an entry (templates/ui/rows.html). Row numbers stay without gaps, so that the
// count sent to the server is the count on the screen.

const FIELDS = "input, select, textarea";

function renumber(row, prefix, from, to) {
  const marks = [`${prefix}-${from}-`, `${prefix}-${to}-`];
  const names = ["id", "name", "for", "aria-describedby"];
  for (const element of row.querySelectorAll(names.map((name) => `[${name}]`).join(","))) {
    for (const name of names) {
      const value = element.getAttribute(name);
      if (value?.includes(marks[0])) element.setAttribute(name, value.replaceAll(...marks));
    }
  }
}

// What most often is as in the row above (data-carry) begins as it is there; the cursor goes to what is new.
function carry(above, row) {
  const from = above.querySelectorAll("[data-carry]");
  row.querySelectorAll("[data-carry]").forEach((field, index) => { field.value = from[index].value; });
}

function wire(section) {
  const prefix = section.dataset.rows;
  const word = section.dataset.rowWord;
  const count = section.querySelector(`[name="${prefix}-TOTAL_FORMS"]`);
  const most = Number(section.querySelector(`[name="${prefix}-MAX_NUM_FORMS"]`).value);
  const template = section.querySelector("template");
  const add = section.querySelector("[data-row-add]");
  const said = section.querySelector("[data-rows-said]");
  const rows = () => [...section.querySelectorAll("[data-row]")];

  function settle(sentence) {
    const now = rows();
    now.forEach((row, index) => {
      renumber(row, prefix, row.dataset.row, index);
      row.dataset.row = index;
      row.querySelector("[data-row-number]").textContent = index + 1;
      row.querySelector("[data-row-remove]").hidden = now.length === 1;
    });
    count.value = now.length;
    add.hidden = now.length >= most;
    said.textContent = sentence;
    section.dispatchEvent(new Event("rows", { bubbles: true }));
  }

  add.addEventListener("click", () => {
    const row = template.content.cloneNode(true).querySelector("[data-row]");
    row.dataset.row = "__prefix__";
    const above = rows().at(-1);
    add.parentElement.before(row);
    settle(`A ${word} more.`);
    carry(above, row);
    row.querySelector(`:is(${FIELDS}):not([type="hidden"], [data-carry])`).focus();
  });

  section.addEventListener("click", (event) => {
    const row = event.target.closest("[data-row-remove]")?.closest("[data-row]");
    if (!row || rows().length === 1) return;
    const place = rows().indexOf(row);
    row.remove();
    settle(`One ${word} less.`);
    const next = rows()[Math.min(place, rows().length - 1)];
    next.querySelector(`:is(${FIELDS}):not([type="hidden"])`).focus();
  });

  rows().forEach((row, index) => { row.dataset.row = index; });
  settle("");
}

for (const section of document.querySelectorAll("[data-rows]")) wire(section);
