// What a page does beyond reading and posting: drafts, the queue, ticks and timers.
// Works over plain http in the kitchen's own network, where there is no service worker.

import { keepDrafts, forget } from "./drafts.js";
import { get, newKey, put } from "./keep.js";
import { enter, keepTrying, onChange, waiting } from "./queue.js";

const line = document.getElementById("kept");
const me = document.body.dataset.person;
const hour = (moment) => moment.toTimeString().slice(0, 5);
let last = line.textContent.trim();
let trouble = "";

async function show() {
  const rows = await waiting().catch(() => []);
  const mine = rows.filter((row) => row.by === me);
  const others = rows.length - mine.length;
  const parts = [];
  if (mine.length) parts.push(`${mine.length} waiting on this tablet${trouble ? `: ${trouble}` : ""}`);
  if (others) parts.push(`${others} of somebody else waiting: let them sign in`);
  if (mine.some((row) => Date.now() - row.at > 15 * 60_000)) parts.push("for more than a quarter of an hour");
  line.classList.toggle("waits", rows.length > 0);
  line.textContent = rows.length ? parts.join(", ") : last;
}

const say = {
  draft: () => {
    last = `On this tablet ${hour(new Date())}, not sent yet`;
    return show();
  },
  broken: () => {
    line.classList.add("waits");
    line.textContent = "This browser keeps nothing: send before you close the page";
  },
};

function fieldsOf(form, button) {
  const fields = [...new FormData(form)].filter(([, value]) => typeof value === "string");
  if (button?.name) fields.push([button.name, button.value]);
  return fields;
}

// Asked here too, so that it is asked when the network is gone.
function unlikely(form, fields) {
  const { low, high } = form.dataset;
  if (form.elements.reason || (low === undefined && high === undefined)) return "";
  const typed = Object.fromEntries(fields).value?.trim().replace(",", ".");
  const value = Number(typed);
  if (!typed || Number.isNaN(value)) return "";
  const below = low !== undefined && value < Number(low);
  const above = high !== undefined && value > Number(high);
  if (!below && !above) return "";
  const range = low !== undefined && high !== undefined ? `between ${low} and ${high}` : below ? `at ${low} or more` : `at ${high} or less`;
  return `${typed} is unlikely: it mostly lies ${range}. It is kept with a reason.`;
}

function askReason(form, words, label = "Why it is so all the same") {
  warn(form, words);
  if (form.elements.reason) return;
  const id = `${form.id}-why`;
  const named = Object.assign(document.createElement("label"), { htmlFor: id, textContent: label });
  const field = Object.assign(document.createElement("input"), { id, name: "reason", required: true });
  form.querySelector("button").before(named, field);
  field.focus();
}

function warn(form, words) {
  form.querySelector(".wrong")?.remove();
  const said = Object.assign(document.createElement("p"), { className: "wrong", textContent: words });
  said.setAttribute("role", "alert");
  form.prepend(said);
  form.closest("details")?.setAttribute("open", "");
}

const shown = new Map();

async function submitted(event) {
  const form = event.target;
  if (!form.matches("form[data-send]")) return;
  event.preventDefault();
  const pressed = form.elements.pressed;
  if (pressed) pressed.value = String(Date.now());
  const fields = fieldsOf(form, event.submitter);
  const why = unlikely(form, fields);
  if (why) return askReason(form, why);
  const key = newKey();
  const entry = { key, by: me, at: Date.now(), path: form.getAttribute("action"), fields: fields.map(([name, value]) => [name, name === "key" ? key : value]) };
  form.querySelector(".wrong")?.remove();
  shown.set(key, { form, button: event.submitter });
  for (const button of form.querySelectorAll("button")) button.disabled = true;
  try {
    await enter(entry);
  } catch {
    // Nothing can be kept here: post it as a page without scripts would.
    for (const button of form.querySelectorAll("button")) button.disabled = false;
    form.removeAttribute("data-send");
    form.requestSubmit(event.submitter);
  }
}

function saved({ entry, at }) {
  last = `Saved ${at}`;
  trouble = "";
  const { form, button } = shown.get(entry.key) ?? {};
  if (!form) return;
  forget(form);
  if (form.closest(".cell") && !form.elements.correct) return filled(form, button);
  history.replaceState(null, "", `${entry.path}?saved=${encodeURIComponent(at)}#${form.elements.place?.value ?? ""}`);
  location.reload();
}

// The value takes the place of its field, and the next empty one is ready for typing.
function filled(form, button) {
  const cell = form.closest(".cell");
  const words = button?.name === "value" ? button.textContent.trim().replace(/\s+/, ", ") : form.elements.value.value;
  const unit = form.querySelector(".unit span")?.textContent ?? "";
  const done = Object.assign(document.createElement("p"), { className: "stands" });
  const named = form.querySelector("legend, label").firstChild.textContent.trim();
  const what = Object.assign(document.createElement("span"), { textContent: named });
  const value = Object.assign(document.createElement("strong"), { className: "number", textContent: `${words} ${unit}`.trim() });
  done.append(what, " ", value);
  const next = nextField(cell);
  cell.replaceChildren(done);
  next?.focus();
}

function nextField(cell) {
  const cells = [...document.querySelectorAll(".cell")];
  const after = cells.slice(cells.indexOf(cell) + 1).find((each) => each.querySelector(":scope > form"));
  return after?.querySelector("input:not([type=hidden]), button");
}

function refused({ entry, error, next, asks_reason, stands }) {
  const { form } = shown.get(entry.key) ?? {};
  const words = [error ?? "The bench did not take this.", next ? `Try: ${next}.` : ""].join(" ").trim();
  if (!form) {
    last = `Not saved: ${words}`;
    return;
  }
  for (const button of form.querySelectorAll("button")) button.disabled = false;
  if (stands) {
    const value = Object.fromEntries(entry.fields).value;
    const correct = Object.assign(document.createElement("input"), { type: "hidden", name: "correct", value: "yes" });
    form.append(correct);
    askReason(form, `${words} You entered ${value}. Leave it, or say why yours replaces it.`, "Why yours replaces it");
  } else if (asks_reason) askReason(form, words);
  else warn(form, words);
}

onChange((event) => {
  if (event.kind === "saved") saved(event);
  if (event.kind === "refused") refused(event);
  if (event.kind === "offline") trouble = "no network";
  if (event.kind === "signed out") trouble = "sign in to send";
  show();
});

// After a reload an entry that still waits has no form that knows of it: its form must not send a second one.
async function stillWaiting() {
  const like = (form, fields) => ["do", "place", "what", "number"].every((name) => (form.elements[name]?.value ?? "") === (fields[name] ?? ""));
  for (const entry of await waiting()) {
    if (entry.by !== me || entry.path !== location.pathname) continue;
    const fields = Object.fromEntries(entry.fields);
    const form = [...document.querySelectorAll("form[data-send]")].find((each) => like(each, fields));
    if (!form) continue;
    for (const button of form.querySelectorAll("button")) button.disabled = true;
    shown.set(entry.key, { form, button: [...form.querySelectorAll("button[name=value]")].find((each) => each.value === fields.value) });
    for (const field of form.elements) {
      const values = entry.fields.filter(([name]) => name === field.name).map(([, value]) => value);
      if (["hidden", "submit"].includes(field.type)) continue;
      if (["checkbox", "radio"].includes(field.type)) field.checked = values.includes(field.value);
      else if (values.length) field.value = values[0];
    }
    warn(form, `Waiting on this tablet: ${fields.value ?? fields.words ?? fields.what ?? "this entry"}`);
  }
}

// Ticks belong to the tablet at the scale, not to the record.
async function ticks() {
  for (const list of document.querySelectorAll("[data-ticks]")) {
    const name = `ticks|${list.dataset.ticks}`;
    const kept = new Set((await get("drafts", name).catch(() => null)) ?? []);
    for (const box of list.querySelectorAll("[data-tick]")) {
      box.checked = kept.has(box.dataset.tick);
      box.addEventListener("change", () => {
        box.checked ? kept.add(box.dataset.tick) : kept.delete(box.dataset.tick);
        put("drafts", [...kept], name).catch(say.broken);
      });
    }
  }
}

// Worked out from the moment that was kept, so that sleep and reload change nothing.
function timers() {
  const all = document.querySelectorAll("[data-timer]");
  const tick = () => {
    for (const timer of all) {
      const seconds = Math.max(0, Math.floor((Date.now() - Date.parse(timer.dataset.timer)) / 1000));
      const rest = String(seconds % 60).padStart(2, "0");
      timer.textContent = `${Math.floor(seconds / 60)}:${rest} min`;
    }
  };
  if (all.length) setInterval(tick, 1000);
  tick();
}

document.addEventListener("submit", submitted);
timers();
ticks();
keepDrafts(say)
  .then(stillWaiting)
  .then(() => me && keepTrying())
  .then(show)
  .catch(say.broken);
