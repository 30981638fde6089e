// The net mass of a delivery as its parcels are typed: what the receipt will say (templates/staff/counter/).
//
//   form[data-net-form]        the form
//   [data-row]                 a parcel: input[data-metal="gross"] less input[data-tare]
//   [data-net]                 where the words go

import { grams, milligrams } from "./mass.js";

function net(row) {
  const [gross, tare] = ['input[data-metal="gross"]', "input[data-tare]"].map((name) => milligrams(row.querySelector(name).value));
  if (gross === undefined || tare === undefined) return undefined;
  return gross === null ? null : gross - (tare ?? 0n);
}

function say(form) {
  const nets = [...form.querySelectorAll("[data-row]")].map(net).filter((mg) => mg !== null);
  const word = form.querySelector("[data-net]");
  const unread = nets.filter((mg) => mg === undefined).length;
  const sum = nets.reduce((total, mg) => total + (mg ?? 0n), 0n);
  word.hidden = nets.length === 0;
  word.dataset.state = unread ? "unread" : "balanced";
  word.textContent = unread
    ? `${unread === 1 ? "One parcel has a weight" : `${unread} parcels have weights`} that can't be read: grams with a point, like 1234.567.`
    : `Net as weighed: ${grams(sum)} g in ${nets.length} parcel${nets.length === 1 ? "" : "s"}.`;
}

for (const form of document.querySelectorAll("form[data-net-form]")) {
  for (const event of ["input", "change", "rows"]) form.addEventListener(event, () => say(form));
  say(form);
}
