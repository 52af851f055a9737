// A plan that was begun stands in the address of its page. Kept on this tablet, it is one tap away
// after the tablet slept, lost its battery or asked who is there.

import { get, put, remove } from "./keep.js";

const name = `${document.body.dataset.person}|plan begun`;
const begun = document.querySelector("[data-plan-begun]");
const done = document.querySelector("[data-plan-done]");
const goOn = document.getElementById("go-on");

async function follow() {
  if (begun && location.search.length > 1) await put("drafts", location.pathname + location.search, name);
  if (done && new URLSearchParams(location.search).has("saved")) await remove("drafts", name);
  if (!goOn) return;
  const where = await get("drafts", name);
  if (typeof where !== "string" || !where.startsWith("/plan/")) return;
  goOn.href = where;
  goOn.hidden = false;
}

follow().catch(() => undefined);
