// A hand scanner types its text and presses Enter, wherever the cursor is. In a field marked data-scan Enter
// moves on instead of sending a half-written form; typing with no field chosen goes to the scan box.

const CONTROLS = 'input:not([type="hidden"]), select, textarea, button';

function onward(field) {
  const controls = [...field.form.querySelectorAll(CONTROLS)].filter(
    (control) => !control.disabled && !control.closest("[hidden]") && control.checkVisibility()
      && !control.matches("[data-row-remove], [data-row-add]")
      && !(control.matches("[data-skip]") && control.value), // laid out already
  );
  const next = controls[controls.indexOf(field) + 1];
  next?.focus();
  if (next?.matches("input[data-scan]")) next.select();
}

function isField(element) {
  return element.matches("input, select, textarea") || element.isContentEditable;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.key === "Enter") {
    if (event.target.matches("input[data-scan]") && event.target.form) {
      event.preventDefault();
      onward(event.target);
    }
    return;
  }
  const box = document.getElementById("scan-code");
  if (!box || event.key.length !== 1 || event.key === " " || isField(event.target)) return;
  if (document.querySelector("dialog[open]")) return;
  box.focus(); // before the letter arrives, so that the letter itself lands in the box
  box.select();
});
