// What stands now? After an entry was saved, the parts of the page that tell it are asked for anew and take the place
// of the old ones: what the bench says stands, not what was typed. Nothing that somebody works at is touched.

import { adopt, isChanged } from "./drafts.js";
import { me } from "./fields.js";
import { heard } from "./network.js";
import { waiting } from "./queue.js";

const PATIENCE = 10_000;
const PARTS = "[data-part], [data-cell]";
let wanted = 0; // how many times it was asked for
let shown = 0; // as far as that the page is fresh
let busy = false;

const nameOf = (part) => part.dataset.part ?? part.dataset.cell;
export const stale = () => (wanted += 1);

async function asked() {
  heard(false); // until it answers
  const answer = await fetch(location.pathname, { headers: { accept: "text/html" }, redirect: "error", signal: AbortSignal.timeout(PATIENCE) });
  heard(true);
  if (!answer.ok) throw new Error(String(answer.status));
  return new DOMParser().parseFromString(await answer.text(), "text/html");
}

// Something is typed there, was refused there, or is on its way from there.
const isWorkedAt = (form) => isChanged(form) || form.dataset.replaces !== undefined || form.querySelector(":scope > .wrong, :scope > .notice, button:disabled") !== null;
const isUsed = (part) => [...part.querySelectorAll("form")].some(isWorkedAt);
const told = (part) => [part.querySelector(":scope > .stands")?.textContent, part.querySelector(":scope > form") !== null].join();

// The same button or field in the new part, for whoever had come to it by keys.
const words = (field) => field.getAttribute("aria-label") ?? field.textContent.trim();
const sameAs = (field, part) => [...part.querySelectorAll("button, summary, input:not([type=hidden]), a")].find((each) => each.id === field.id && words(each) === words(field));

function swap(old, fresh) {
  const held = old.contains(document.activeElement) ? document.activeElement : null;
  if (isUsed(old) || held?.matches("input")) return;
  if (old.dataset.cell && old.querySelector("form") && told(old) === told(fresh)) return; // nothing new
  old.replaceWith(fresh);
  fresh.querySelectorAll("form[data-draft]").forEach(adopt);
  if (held) (sameAs(held, fresh) ?? fresh.querySelector("summary, button"))?.focus({ preventScroll: true });
}

const ours = async () => (await waiting()).some((row) => row.by === me && !row.refused);

// Only while nothing of ours waits: the bench would tell what stood before it. Called again when the queue is empty.
export async function freshen() {
  if (busy) return;
  busy = true;
  try {
    while (shown !== wanted && !(await ours())) {
      const upTo = wanted;
      const fresh = await asked();
      if (upTo !== wanted) continue; // more was saved meanwhile, which this page may not tell
      for (const part of fresh.querySelectorAll(PARTS)) {
        const old = [...document.querySelectorAll(PARTS)].find((each) => nameOf(each) === nameOf(part));
        if (old) swap(old, document.adoptNode(part));
      }
      shown = upTo;
    }
  } catch {
    // gone again: what was saved is said in its place, the rest when the page is opened anew
  } finally {
    busy = false;
  }
}
