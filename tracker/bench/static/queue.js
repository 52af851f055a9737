// What waits to be sent, and was it recorded? An entry is written to this tablet first and leaves it
// only when the bench has answered for it, or when the person who made it throws it away. The bench knows
// each entry by its key, so that sending one twice, or after a lost answer, records it once.

import { deleteDraft } from "./drafts.js";
import { me } from "./fields.js";
import { all, put, within } from "./keep.js";
import { heard } from "./network.js";

const AGAIN = 4000;
const PATIENCE = 15_000;
const PICTURES = 120_000;
let sending = false;
let asked = false; // to send, while something was being sent
const listeners = [];
const memory = new Map(); // entries that the browser would not keep: as long as the page stays open

export const onChange = (listener) => listeners.push(listener);
const tell = (event) => listeners.forEach((listener) => listener(event));
export const onlyHere = () => memory.size > 0;

export async function waiting() {
  const kept = await all("queue").catch(() => []);
  return [...kept, ...memory.values()].sort((one, other) => one.at - other.at);
}

// The entry takes the place of its draft, and of the refused one that it replaces, in one step.
export async function enter(entry, { draft, replaces } = {}) {
  try {
    await within(["drafts", "queue"], "readwrite", (its) => {
      if (draft) deleteDraft(its("drafts"), draft);
      if (replaces) its("queue").delete(replaces);
      return its("queue").put(entry);
    });
  } catch (problem) {
    memory.set(entry.key, entry);
    tell({ kind: "only here", problem });
  }
  memory.delete(replaces);
  tell({ kind: "waits" });
  return sendAll();
}

export async function leave(key) {
  memory.delete(key);
  await within("queue", "readwrite", (its) => its("queue").delete(key)).catch(() => undefined);
}

async function refuse(entry, told) {
  const refused = { ...entry, refused: told };
  if (memory.has(entry.key)) memory.set(entry.key, refused);
  else await put("queue", refused);
}

async function post(entry) {
  const pictures = hasPhoto(entry);
  const body = pictures ? new FormData() : new URLSearchParams();
  for (const [name, value] of entry.fields) body.append(name, value);
  body.set("sent", String(Date.now()));
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), pictures ? PICTURES : PATIENCE);
  try {
    const answer = await fetch(entry.path, {
      method: "POST",
      body,
      headers: { accept: "application/json" },
      credentials: "same-origin",
      redirect: "error",
      signal: stop.signal,
    });
    return [answer.status, await answer.json().catch(() => ({}))];
  } finally {
    clearTimeout(timer);
  }
}

// One after the other, in the order they were entered; what comes back as "later" holds up its own page only.
export async function sendAll() {
  asked = true;
  if (sending) return;
  sending = true;
  try {
    while (asked) {
      asked = false;
      if (!(await once())) break;
    }
  } catch {
    // another page of this tablet holds the database: tried again below
  } finally {
    sending = false;
    tell({ kind: "settled" });
  }
}

// A reading does not wait behind the megabytes of a photo that was taken before it.
const hasPhoto = (entry) => entry.fields.some(([, value]) => value instanceof Blob);
const photosLast = (entries) => [...entries.filter((entry) => !hasPhoto(entry)), ...entries.filter(hasPhoto)];

// False when the network or the person is missing: then nothing else is tried now.
async function once() {
  const held = new Set();
  for (const entry of photosLast(await waiting())) {
    if (entry.by !== me || entry.refused || held.has(entry.path)) continue;
    const next = await send(entry);
    if (next === "stop") return false;
    if (next === "later") held.add(entry.path);
  }
  return true;
}

async function send(entry) {
  let status, told;
  try {
    [status, told] = await post(entry);
    heard(true);
  } catch {
    heard(false);
    tell({ kind: "trouble", entry, words: "no network" });
    return "stop";
  }
  if (status === 401 || told.sign_in) {
    tell({ kind: "trouble", entry, words: "sign in to send", signIn: true });
    return "stop";
  }
  // Only the bench's own words count: a page of somebody's Wi-Fi may answer for anything with "fine".
  if (status < 300 && typeof told.saved === "string") {
    await leave(entry.key);
    tell({ kind: "saved", entry, at: told.saved, next: told.next });
    return "next";
  }
  const answered = typeof told.error === "string" || status === 413;
  if (status >= 500 || status === 429 || status < 400 || !answered) {
    tell({ kind: "trouble", entry, words: told.error ?? "the bench does not answer as it should" });
    return "later";
  }
  const words = { error: "This is larger than the bench takes.", ...told, status };
  await refuse(entry, words);
  tell({ kind: "refused", entry, told: words });
  return "next";
}

export function keepTrying() {
  for (const event of ["online", "focus", "pageshow"]) addEventListener(event, sendAll);
  document.addEventListener("resume", sendAll);
  document.addEventListener("visibilitychange", () => document.hidden || sendAll());
  setInterval(async () => (await waiting()).length && sendAll(), AGAIN);
  addEventListener("beforeunload", (event) => onlyHere() && event.preventDefault());
  return sendAll();
}
