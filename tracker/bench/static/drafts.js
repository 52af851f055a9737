// What was typed and not sent yet? Kept 60 ms after a change, or as soon as the last keeping is done, while typing goes on too, and at once
// when the page goes into the background; put back when the page is opened again.

import { fill, me, nameOf, signature, typedIn } from "./fields.js";
import { get, put, within } from "./keep.js";

const WAIT = 60;

export const draftOf = (form) =>
  form.dataset.draft === undefined ? "" : `${me}|${form.dataset.draft || location.pathname + "#" + form.elements.place?.value}`;

const atFirst = new WeakMap();
const dirty = new Map(); // changed since it was kept, and the timer that keeps it
const busy = new Set();

// Photos lie beside the rest of their draft: a few words typed under one would else write its megabytes at every key.
const FILES = "|files";
const filesKept = new WeakMap();
const isFile = ([, value]) => value instanceof File;

export function deleteDraft(drafts, draft) {
  drafts.delete(draft + FILES);
  return drafts.delete(draft);
}

export const forget = (draft) => within("drafts", "readwrite", (its) => deleteDraft(its("drafts"), draft));

async function write(form) {
  const draft = draftOf(form);
  if (signature(form) === atFirst.get(form)) {
    filesKept.delete(form);
    return forget(draft);
  }
  const pairs = typedIn(form);
  const files = pairs.filter(isFile);
  const same = nameOf(files) === (filesKept.get(form) ?? nameOf([]));
  await within("drafts", "readwrite", (its) => {
    if (!same) files.length ? its("drafts").put({ fields: files }, draft + FILES) : its("drafts").delete(draft + FILES);
    return its("drafts").put({ fields: pairs.filter((pair) => !isFile(pair)), at: Date.now() }, draft);
  });
  filesKept.set(form, nameOf(files));
}

// The form's content has just become an entry of the queue: only what is changed from now on is a draft.
export function taken(form) {
  clearTimeout(dirty.get(form));
  dirty.delete(form);
  filesKept.delete(form); // they went with it
  atFirst.set(form, signature(form));
}

// A form that is posted without the queue has its draft until a page says "saved".
const POSTED = `posted|${me}`;

export async function posted(form) {
  const names = (await get("drafts", POSTED)) ?? [];
  await put("drafts", [...new Set([...names, draftOf(form)])], POSTED);
}

async function dropPosted(forms) {
  const names = await get("drafts", POSTED);
  if (!names) return;
  const saved = new URLSearchParams(location.search).has("saved");
  const again = new Set(forms.map(draftOf)); // it came back: what is wrong with it is mended here
  const rest = saved ? [] : names.filter((name) => !again.has(name));
  await within("drafts", "readwrite", (its) => {
    if (saved) for (const name of names) deleteDraft(its("drafts"), name);
    return rest.length ? its("drafts").put(rest, POSTED) : its("drafts").delete(POSTED);
  });
}

async function restore(form) {
  const draft = await get("drafts", draftOf(form));
  if (!draft) {
    if (form.querySelector("[type=file]")) await forget(draftOf(form));
    return undefined;
  }
  const files = (await get("drafts", draftOf(form) + FILES))?.fields ?? [];
  filesKept.set(form, nameOf(files));
  // What the bench has just sent back as wrong was typed later than any draft.
  fill(form, [...draft.fields, ...files], { butNot: (field) => field.closest("[aria-invalid]") });
  return form;
}

let say; // what tells where a draft is

const later = (form) => dirty.has(form) || dirty.set(form, setTimeout(() => busy.has(form) || flush(form), WAIT));

async function flush(form) {
  clearTimeout(dirty.get(form));
  dirty.delete(form);
  busy.add(form);
  try {
    await write(form);
    say.draft();
  } catch (problem) {
    say.broken(problem);
  }
  busy.delete(form);
  if (dirty.has(form)) flush(form); // changed meanwhile
}

export const isChanged = (form) => atFirst.has(form) && signature(form) !== atFirst.get(form);

// From now on what is typed into the form is kept.
export function adopt(form) {
  atFirst.set(form, signature(form));
  // A timer that each key would set anew would keep nothing of somebody who types without a pause.
  form.addEventListener("input", () => later(form));
  form.addEventListener("change", () => flush(form));
}

// The forms into which a draft was put.
export async function keepDrafts(line) {
  say = line;
  const forms = [...document.querySelectorAll("form[data-draft]")];
  forms.forEach(adopt);
  const now = () => [...dirty.keys()].forEach(flush);
  addEventListener("pagehide", now);
  document.addEventListener("freeze", now);
  document.addEventListener("visibilitychange", () => document.hidden && now());
  await dropPosted(forms).catch(() => undefined);
  const restored = await Promise.allSettled(forms.map(restore));
  return new Set(restored.map((each) => each.value).filter(Boolean));
}
