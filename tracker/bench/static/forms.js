// What becomes of a form that is sent? It is an entry of the queue first; when the bench has answered, its answer
// is shown where the entry was made, if that page is still open.

import { askReason, unlikely, warn } from "./asking.js";
import { draftOf, forget, posted, taken } from "./drafts.js";
import { fill, inWords, me, myName, sentBy, signature } from "./fields.js";
import { freshen, stale } from "./fresh.js";
import { newKey } from "./keep.js";
import { inTrouble, made, savedAt, say, show } from "./line.js";
import { enter, leave, onChange, waiting } from "./queue.js";

const NOT_COMPARED = new Set(["key", "by", "sent", "pressed", "correct", "seen"]);
const SOON = 700; // ms after which it is said that an entry still waits
const shown = new Map(); // key -> the form on this page that made the entry

const isSent = (form, button) => form.matches("[data-send]") || button?.matches("[data-send]");
const buttons = (form, disabled) => form.querySelectorAll("button").forEach((button) => (button.disabled = disabled));

async function submitted(event) {
  const { target: form, submitter: button } = event;
  if (event.defaultPrevented) return;
  if (!isSent(form, button)) {
    if (form.method === "post" && draftOf(form)) posted(form).catch(() => undefined);
    return;
  }
  event.preventDefault();
  if (form.elements.pressed) form.elements.pressed.value = String(Date.now());
  const fields = sentBy(form, button);
  const why = unlikely(form, fields);
  if (why) {
    askReason(form, why);
    return show();
  }
  const key = newKey();
  const sent = fields.map(([name, value]) => [name, name === "key" ? key : value]);
  for (const [name, value] of [["key", key], ["by", me]]) if (!sent.some(([has]) => has === name)) sent.push([name, value]);
  const path = button?.getAttribute("formaction") || form.getAttribute("action");
  const page = location.pathname + location.search;
  const entry = { key, by: me, name: myName, at: Date.now(), path, form: form.getAttribute("action"), page, fields: sent };
  const { replaces } = form.dataset;
  delete form.dataset.replaces;
  form.querySelectorAll(":scope > .wrong, :scope > .notice, :scope > .leave").forEach((each) => each.remove());
  buttons(form, true);
  taken(form);
  shown.set(key, { form, button, was: signature(form), words: inWords(sent) });
  setTimeout(() => waitsAt(key), SOON);
  await enter(entry, { draft: draftOf(form), replaces });
}

function saved({ entry, at, next }) {
  savedAt(at);
  const { form, button, was } = shown.get(entry.key) ?? {};
  shown.delete(entry.key);
  if (!form) return;
  if (signature(form) !== was) {
    buttons(form, false);
    warn(form, `Saved ${at}. What you changed since then is not sent yet.`, "notice");
    return;
  }
  if (draftOf(form)) forget(draftOf(form)).catch(() => undefined);
  if (form.closest(".cell") && !form.elements.correct) filled(form, button);
  else goOn(form, at, new URL(next ?? entry.page, location.origin));
}

function goOn(form, at, to) {
  to.searchParams.set("saved", at);
  const busy = document.activeElement?.form;
  if (busy && busy !== form && busy.matches("main form")) {
    // Somebody types elsewhere on the page by now: it is not taken from under the fingers.
    const said = warn(form, `Saved ${at}. `, "notice");
    said.append(made("a", "See it", { href: to.href, className: "button" }));
  } else if (to.origin !== location.origin) location.reload();
  else if (to.pathname === location.pathname) {
    history.replaceState(null, "", to);
    location.reload();
  } else location.assign(to);
}

// The value takes the place of its field until the bench has told how it stands; the next empty one is ready for typing.
function filled(form, button) {
  const cell = form.closest(".cell");
  const words = button?.name === "value" ? button.textContent.trim().replace(/\s+/, ", ") : form.elements.value.value.trim().replace(",", ".");
  const unit = form.querySelector(".unit span")?.textContent ?? "";
  const named = form.querySelector("legend, label").firstChild.textContent.trim();
  const done = made("p", "", { className: "stands" });
  done.append(made("span", named), " ", made("strong", `${words} ${unit}`.trim(), { className: "number" }));
  const cells = [...document.querySelectorAll(".cell")];
  const after = cells.slice(cells.indexOf(cell) + 1).find((each) => each.querySelector(":scope > form"));
  const inside = cell.contains(document.activeElement) || document.activeElement === document.body;
  cell.replaceChildren(done);
  if (inside) after?.querySelector("input:not([type=hidden]), button")?.focus();
  stale();
}

function refused({ entry, told }) {
  const { form } = shown.get(entry.key) ?? {};
  shown.delete(entry.key);
  if (form) refusedAt(form, entry, told);
}

function refusedAt(form, entry, { error, next, status, asks_reason, stands }) {
  const words = [error, next ? `Try: ${next}.` : ""].join(" ").trim();
  buttons(form, false);
  form.dataset.replaces = entry.key;
  if (status === 409) form.elements.seen?.remove(); // what stands has just been shown
  if (stands) {
    if (!form.elements.correct) form.append(made("input", "", { type: "hidden", name: "correct", value: "yes" }));
    const yours = Object.fromEntries(entry.fields).value ?? inWords(entry.fields);
    askReason(form, `${words} You entered ${yours}. Leave it, or say why yours replaces it.`, "Why yours replaces it");
  } else if (asks_reason) askReason(form, words);
  else warn(form, words);
  const leaveIt = async () => {
    await leave(entry.key);
    if (draftOf(form)) await forget(draftOf(form)).catch(() => undefined);
    location.reload();
  };
  form.append(made("button", stands ? "Leave what stands" : "Leave it", { type: "button", className: "plain leave", onclick: leaveIt }));
}

// After a reload an entry that still waits has no form that knows of it: its form must not send a second one.
async function stillHere(restored) {
  for (const entry of await waiting()) {
    if (entry.by !== me) continue;
    const form = [...document.querySelectorAll("main form")].find((each) => isFormOf(each, entry));
    if (!form) continue;
    const edited = restored.has(form);
    if (!edited) fill(form, entry.fields);
    if (entry.refused) refusedAt(form, entry, entry.refused);
    else {
      buttons(form, true);
      const value = Object.fromEntries(entry.fields).value;
      const button = [...form.querySelectorAll("button[name=value]")].find((each) => each.value === value);
      shown.set(entry.key, { form, button, was: edited ? "" : signature(form), words: inWords(entry.fields) });
      waitsAt(entry.key);
    }
  }
}

function isFormOf(form, entry) {
  if (form.getAttribute("action") !== entry.form) return false;
  const hidden = [...form.elements].filter((field) => field.type === "hidden" && !NOT_COMPARED.has(field.name));
  return hidden.every((field) => entry.fields.some(([name, value]) => name === field.name && value === field.value));
}

function waitsAt(key) {
  const { form, words } = shown.get(key) ?? {};
  const said = `Waiting on this tablet: ${words}`;
  if (form && form.querySelector(":scope > .wrong")?.textContent !== said) warn(form, said);
}

export async function keepForms(restored) {
  onChange((event) => {
    if (event.kind === "saved") saved(event);
    if (event.kind === "refused") refused(event);
    if (event.kind === "only here") say.broken(event.problem);
    if (event.kind === "settled") freshen();
    if (event.kind === "trouble") {
      inTrouble(event.words);
      [...shown.keys()].forEach(waitsAt);
    }
    show();
  });
  await stillHere(restored);
}

document.addEventListener("submit", submitted);
