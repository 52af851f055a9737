// What stands in the fields of a form, and how is it put back?

import { growFor } from "./growing.js";

const HOW = new Set(["key", "by", "do", "place", "sent", "pressed", "correct", "seen"]);
const MADE = new Set(["hidden", "password", "submit", "button"]);

export const me = document.body.dataset.person ?? "";
export const myName = document.querySelector("form.who")?.dataset.name ?? "";
export const isBox = (field) => field.type === "checkbox" || field.type === "radio";
const isTyped = (field) => field.name && !HOW.has(field.name) && !MADE.has(field.type);

// Pairs of name and value of all that a person can change; of boxes those that are ticked, of pictures the files.
export function typedIn(form) {
  const pairs = [];
  for (const field of form.elements) {
    if (!isTyped(field)) continue;
    if (field.type === "file") for (const file of field.files) pairs.push([field.name, file]);
    else if (!isBox(field) || field.checked) pairs.push([field.name, field.value]);
  }
  return pairs;
}

export const nameOf = (pairs) =>
  JSON.stringify(pairs.map(([name, value]) => [name, value instanceof File ? `${value.name} ${value.size} ${value.lastModified}` : value]));

export const signature = (form) => nameOf(typedIn(form));

// What is sent, the button that was pressed too.
export function sentBy(form, button) {
  const pairs = [...new FormData(form)].filter(([, value]) => typeof value === "string" || value.size > 0);
  if (button?.name) pairs.push([button.name, button.value]);
  return pairs;
}

export function fill(form, pairs, { butNot = () => false } = {}) {
  growFor(form, pairs);
  const turns = new Map();
  for (const field of form.elements) {
    if (!isTyped(field) || butNot(field)) continue;
    const values = pairs.filter(([name]) => name === field.name).map(([, value]) => value);
    if (isBox(field)) field.checked = values.includes(field.value);
    else if (field.type === "file") putFiles(field, values);
    else {
      const turn = turns.get(field.name) ?? 0;
      turns.set(field.name, turn + 1);
      if (turn < values.length && field.value !== values[turn]) field.value = values[turn];
    }
  }
  form.closest("details")?.setAttribute("open", "");
}

function putFiles(field, files) {
  const chosen = new DataTransfer();
  for (const file of files) if (file instanceof File) chosen.items.add(file);
  if (!chosen.files.length) return;
  field.files = chosen.files;
  field.dispatchEvent(new Event("filled"));
}

// The words of an entry, to be read by people.
export function inWords(fields) {
  const said = fields.filter(([name, value]) => !HOW.has(name) && value !== "" && !["repeat", "table", "draft"].includes(name));
  return said.map(([, value]) => (value instanceof File ? "a picture" : value)).join(", ");
}
