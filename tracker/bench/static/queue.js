// What waits to be sent, and was it recorded? An entry is written to this tablet first and leaves it
// only when the server has answered for it. The server knows each entry by its key, so that sending
// one twice, or after a lost answer, records it once.

import { all, put, remove } from "./keep.js";

const AGAIN = 4000;
let sending = false;
let listeners = [];

export const onChange = (listener) => listeners.push(listener);
const tell = (event) => listeners.forEach((listener) => listener(event));

export async function waiting() {
  return (await all("queue")).sort((one, other) => one.at - other.at);
}

export async function enter(entry) {
  await put("queue", entry);
  tell({ kind: "waits" });
  return sendAll();
}

async function post(entry) {
  const body = new URLSearchParams(entry.fields);
  body.set("sent", String(Date.now()));
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), 15000);
  try {
    return await fetch(entry.path, {
      method: "POST",
      body,
      headers: { accept: "application/json" },
      credentials: "same-origin",
      redirect: "error",
      signal: stop.signal,
    });
  } finally {
    clearTimeout(timer);
  }
}

// One after the other, in the order they were entered.
export async function sendAll() {
  if (sending) return;
  sending = true;
  try {
    for (const entry of await waiting()) {
      if (entry.by !== document.body.dataset.person) continue;
      if (!(await send(entry))) break;
    }
  } catch {
    // the network is gone, or another page of this tablet holds the database: tried again below
  } finally {
    sending = false;
    tell({ kind: "settled" });
  }
}

// True when the next one can be tried.
async function send(entry) {
  let answer;
  try {
    answer = await post(entry);
  } catch {
    tell({ kind: "offline" });
    return false;
  }
  const told = await answer.json().catch(() => ({}));
  if (answer.status === 401) {
    tell({ kind: "signed out" });
    return false;
  }
  if (answer.status >= 500 || answer.status === 429) return false;
  await remove("queue", entry.key);
  if (answer.ok) tell({ kind: "saved", entry, at: told.saved });
  else tell({ kind: "refused", entry, status: answer.status, ...told });
  return true;
}

export function keepTrying() {
  addEventListener("online", sendAll);
  addEventListener("focus", sendAll);
  setInterval(async () => (await waiting()).length && sendAll(), AGAIN);
  return sendAll();
}
