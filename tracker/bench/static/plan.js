// A plan that was begun stands in the address of its page. Kept on this tablet, it is one tap away
// after the tablet slept, lost its battery or asked who is there. Once it is released, nothing of it stays here.

import { get, put, remove, within } from "./keep.js";

const person = document.body.dataset.person;
const name = `${person}|plan begun`;
const begun = document.querySelector("[data-plan-begun]");
const done = document.querySelector("[data-plan-done]");
const goOn = document.getElementById("go-on");
const seedOf = (address) => new URL(address, location.origin).searchParams.get("seed");

async function forget(seed) {
  const where = await get("drafts", name);
  if (where && seedOf(where) === seed) await remove("drafts", name);
  const keys = await within("drafts", "readonly", (its) => its("drafts").getAllKeys());
  for (const key of keys) if (String(key).startsWith(`${person}|plan ${seed} `)) await remove("drafts", key);
}

async function follow() {
  if (begun && location.search.length > 1) await put("drafts", location.pathname + location.search, name);
  const released = new URLSearchParams(location.search).get("plan");
  if (done && released) await forget(released);
  if (!goOn) return;
  const where = await get("drafts", name);
  if (typeof where !== "string" || !where.startsWith("/plan/")) return;
  goOn.href = where;
  goOn.hidden = false;
}

follow().catch(() => undefined);
