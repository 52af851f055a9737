// Where is what was entered? The line at the top says it in words; below it stands what waits.

import { inWords, me } from "./fields.js";
import { leave, onlyHere, waiting } from "./queue.js";

const LONG = 15 * 60_000;
const line = document.getElementById("kept");
const list = Object.assign(document.createElement("details"), { className: "waitlist", hidden: true });
const hour = (moment) => moment.toTimeString().slice(0, 5);
let last = line.textContent.trim();
let drafted = false; // the last that happened is that a draft was kept
let trouble = "";
let broken = "";

export function made(tag, words, more = {}) {
  return Object.assign(document.createElement(tag), { textContent: words, ...more });
}

export const savedAt = (at) => {
  last = `Saved ${at}`;
  drafted = false;
  trouble = "";
};
export const inTrouble = (words) => (trouble = words);

export const say = {
  draft: () => {
    if (!onlyHere()) broken = "";
    last = `On this tablet ${hour(new Date())}, not sent yet`;
    drafted = true;
    return show();
  },
  broken: (problem) => {
    broken =
      problem?.name === "QuotaExceededError"
        ? "This tablet has no room left: keep this page open until it says Saved"
        : "This browser keeps nothing: keep this page open until it says Saved";
    return show();
  },
};

const lacksReason = () => [...document.querySelectorAll("[data-asked]")].some((field) => !field.value.trim());

export async function show() {
  const rows = await waiting();
  const mine = rows.filter((row) => row.by === me && !row.refused);
  const refused = rows.filter((row) => row.by === me && row.refused);
  const others = rows.filter((row) => row.by !== me).length;
  const parts = [];
  if (mine.length) parts.push(`${mine.length} waiting ${onlyHere() ? "on this page only" : "on this tablet"}${trouble ? `: ${trouble}` : ""}`);
  if (mine.some((row) => Date.now() - row.at > LONG)) parts.push("for more than a quarter of an hour");
  if (refused.length) parts.push(`${refused.length} not taken by the bench: see below`);
  if (others) parts.push(`${others} of somebody else waiting: let them sign in`);
  if (broken) parts.push(broken);
  else if (!parts.length) parts.push(drafted && lacksReason() ? `${last}: a reason is missing` : last);
  line.classList.toggle("waits", rows.length > 0 || broken !== "");
  const words = parts.join(", ");
  if (line.textContent !== words) line.textContent = words;
  showList([...refused, ...mine]);
}

function showList(rows) {
  const name = rows.map((row) => row.key + (row.refused ? "!" : "")).join();
  if (list.dataset.rows === name) return;
  list.dataset.rows = name;
  list.hidden = rows.length === 0;
  const items = made("ul", "");
  items.append(...rows.map(item));
  const file = made("button", "Save these as a file", { type: "button", onclick: () => asFile(rows) });
  list.replaceChildren(made("summary", "What waits"), items, file);
  if (rows.some((row) => row.refused)) list.open = true;
}

function item(row) {
  const one = made("li", "");
  one.append(made("p", `${hour(new Date(row.at))}: ${inWords(row.fields)}`));
  if (row.refused) one.append(made("p", row.refused.error, { className: "wrong" }));
  const deeds = made("p", "", { className: "row" });
  if (row.page && row.page !== location.pathname + location.search) deeds.append(made("a", "Its page", { href: row.page, className: "button" }));
  if (row.refused) deeds.append(made("button", "Throw it away", { type: "button", onclick: () => throwAway(row) }));
  if (deeds.childElementCount) one.append(deeds);
  return one;
}

async function throwAway(row) {
  if (!confirm(`Throw away what was entered: ${inWords(row.fields)}?`)) return;
  await leave(row.key);
  location.reload();
}

// So that a tablet that never reaches the bench again is not the only copy.
function asFile(rows) {
  const plain = rows.map((row) => ({ ...row, fields: row.fields.map(([name, value]) => [name, value instanceof File ? value.name : value]) }));
  const where = URL.createObjectURL(new Blob([JSON.stringify(plain, null, 1)], { type: "application/json" }));
  made("a", "", { href: where, download: "waiting entries.json" }).click();
  setTimeout(() => URL.revokeObjectURL(where), 10_000);
}

line.after(list);
