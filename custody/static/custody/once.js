// A form is sent once, and what was typed is not lost by a stray click.
//
//   form[data-once]   a second press while the first is under way does nothing
//   form[data-keep]   leaving the page with something typed and not sent asks first

const sent = new WeakSet();
const typed = new Set(document.querySelectorAll("form[data-keep]:has(.errors)"));

document.addEventListener("submit", (event) => {
  const form = event.target;
  typed.delete(form);
  if (!form.matches("[data-once]")) return;
  if (sent.has(form)) {
    event.preventDefault();
    return;
  }
  sent.add(form);
  // aria-disabled, not disabled: a disabled button would drop its own name and value from what is sent.
  for (const button of form.querySelectorAll('button:not([type="button"])')) button.setAttribute("aria-disabled", "true");
});

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (form?.matches("[data-keep]")) typed.add(form);
});

addEventListener("beforeunload", (event) => {
  if (typed.size) event.preventDefault();
});

// Back from the next page: the browser shows this one as it was left, and it must be usable again.
addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const form of document.querySelectorAll("form[data-once]")) {
    sent.delete(form);
    for (const button of form.querySelectorAll("[aria-disabled]")) button.removeAttribute("aria-disabled");
  }
});
