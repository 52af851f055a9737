// What is asked back, at the form, before or after the bench has seen an entry?

import { made } from "./line.js";

export function warn(form, words, className = "wrong") {
  form.querySelector(":scope > .wrong, :scope > .notice")?.remove();
  const said = made("p", words, { className });
  said.setAttribute("role", className === "wrong" ? "alert" : "status");
  form.prepend(said);
  form.closest("details")?.setAttribute("open", "");
  return said;
}

export function askReason(form, words, label = "Why it is so all the same") {
  warn(form, words);
  if (form.elements.reason) return;
  const id = `${form.id}-why`;
  const named = made("label", label, { htmlFor: id });
  const field = Object.assign(document.createElement("input"), { id, name: "reason", required: true });
  form.querySelector("button").before(named, field);
  field.dataset.asked = ""; // until it is filled in, the line at the top says that it is missing
  field.focus();
}

// Asked here too, so that it is asked when the network is gone.
export function unlikely(form, fields) {
  const { low, high, least, most, planned } = form.dataset;
  if (form.elements.reason || (low === undefined && high === undefined && planned === undefined)) return "";
  const typed = Object.fromEntries(fields).value?.trim().replace(",", ".");
  const value = Number(typed);
  if (!typed || Number.isNaN(value)) return "";
  if (planned !== undefined) return farOff(value, typed, Number(planned), Number(form.dataset.far));
  if (value < Number(least ?? -Infinity) || value > Number(most ?? Infinity)) return ""; // no reason makes it possible: the bench says so
  const below = low !== undefined && value < Number(low);
  const above = high !== undefined && value > Number(high);
  if (!below && !above) return "";
  const range = low !== undefined && high !== undefined ? `between ${Number(low)} and ${Number(high)}` : below ? `at ${Number(low)} or more` : `at ${Number(high)} or less`;
  return `${typed} is unlikely: it mostly lies ${range}. It is kept with a reason.`;
}

// A weight far from the one on the sheet; where none is planned there is nothing to compare with.
function farOff(value, typed, planned, far) {
  if (!planned || value < 0 || (value > planned / far && value < planned * far)) return "";
  return `${typed} g is an unlikely weight, the sheet asks for ${planned} g. It is kept with a reason.`;
}
