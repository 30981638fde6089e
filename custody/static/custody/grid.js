// Figures keyed down a column: Enter and the arrows go to the same column of the next line, whatever lies between, so
// that a tray is weighed piece by piece, and at the foot of a column on to the head of the next.
//
//   input[data-down]   a cell; cells of one name in a form are one column, from top to bottom

function cells(form, column) {
  const shown = [...form.querySelectorAll("input[data-down]")].filter((cell) => cell.offsetParent !== null && !cell.disabled);
  const columns = [...new Set(shown.map((cell) => cell.dataset.down))];
  return columns.map((name) => shown.filter((cell) => cell.dataset.down === name)).filter((of) => !column || of[0].dataset.down === column);
}

function below(cell, step) {
  const order = step === "Enter" ? cells(cell.form).flat() : cells(cell.form, cell.dataset.down)[0];
  return order[order.indexOf(cell) + (step === "ArrowUp" ? -1 : 1)];
}

document.addEventListener("keydown", (event) => {
  if (!["Enter", "ArrowDown", "ArrowUp"].includes(event.key)) return;
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (!event.target.matches?.("input[data-down]")) return;
  event.preventDefault();
  event.stopPropagation(); // Enter is not scanner.js's to move on by
  const next = below(event.target, event.key);
  next?.focus();
  next?.select();
  if (!next && event.key === "Enter") event.target.form.querySelector(".entry-end button")?.focus();
}, true);
