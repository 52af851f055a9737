// What was typed and not sent yet? Kept 200 ms after each change, and at once when the page goes
// into the background; put back when the page is opened again.

import { get, put, remove } from "./keep.js";

const WAIT = 200;
const HOW = new Set(["key", "by", "do", "place", "sent", "pressed"]);

const nameOf = (form) => `${document.body.dataset.person}|${form.dataset.draft || location.pathname + "#" + form.elements.place?.value}`;

function fieldsOf(form) {
  const kept = [];
  for (const field of form.elements) {
    if (!field.name || HOW.has(field.name) || ["hidden", "password", "file", "submit"].includes(field.type)) continue;
    if (field.type === "checkbox" || field.type === "radio") kept.push([field.name, field.value, field.checked]);
    else kept.push([field.name, field.value]);
  }
  return kept;
}

const atFirst = new WeakMap();

async function write(form) {
  const fields = fieldsOf(form);
  if (JSON.stringify(fields) === atFirst.get(form)) await remove("drafts", nameOf(form));
  else await put("drafts", { fields, at: Date.now() }, nameOf(form));
}

// Recorded: nothing that is still on its way to be kept may bring the draft back.
const recorded = new WeakSet();

export function forget(form) {
  recorded.add(form);
  return remove("drafts", nameOf(form)).catch(() => undefined);
}

async function restore(form) {
  const draft = await get("drafts", nameOf(form));
  if (!draft) return;
  const again = new Map();
  for (const [name, value, checked] of draft.fields) {
    const fields = [...form.elements].filter((field) => field.name === name);
    if (checked !== undefined) {
      for (const field of fields) if (field.value === value) field.checked = checked;
      continue;
    }
    const turn = again.get(name) ?? 0;
    again.set(name, turn + 1);
    const field = fields[turn];
    if (field && field.value !== value && !field.closest("[aria-invalid]")) field.value = value;
  }
  form.closest("details")?.setAttribute("open", "");
}

export async function keepDrafts(say) {
  const dirty = new Map();
  const flush = async (form) => {
    clearTimeout(dirty.get(form));
    dirty.delete(form);
    try {
      if (recorded.has(form)) return;
      await write(form);
      say.draft();
    } catch {
      say.broken();
    }
  };
  const forms = [...document.querySelectorAll("form[data-draft]")];
  for (const form of forms) {
    atFirst.set(form, JSON.stringify(fieldsOf(form)));
    const changed = () => {
      clearTimeout(dirty.get(form));
      dirty.set(form, setTimeout(() => flush(form), WAIT));
    };
    form.addEventListener("input", changed);
    form.addEventListener("change", changed);
  }
  for (const event of ["pagehide", "freeze"]) addEventListener(event, () => [...dirty.keys()].forEach(flush));
  document.addEventListener("visibilitychange", () => document.hidden && [...dirty.keys()].forEach(flush));
  await Promise.allSettled(forms.map(restore));
}
