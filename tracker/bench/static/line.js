// Where is what was entered? The line at the top says it in words; below it stands what waits.

import { inWords, me } from "./fields.js";
import { isDoubtful, isReached } from "./network.js";
import { leave, onlyHere, waiting } from "./queue.js";

const LONG = 15 * 60_000;
const line = document.getElementById("kept");
const list = Object.assign(document.createElement("details"), { className: "waitlist", hidden: true });
const isOwner = document.body.dataset.owner !== undefined;
const two = (number) => String(number).padStart(2, "0");
const day = (moment) => [moment.getFullYear(), two(moment.getMonth() + 1), two(moment.getDate())].join("-");
const dayAndHour = (moment) => (day(moment) === day(new Date()) ? hour(moment) : `${day(moment)} ${hour(moment)}`);
// What was answered in a tasting is not read over a shoulder.
const toRead = (row) => (row.path === "/taste" && row.by !== me ? "an answer in a tasting" : inWords(row.fields));
const hour = (moment) => moment.toTimeString().slice(0, 5);
let last = line.textContent.trim();
let drafted = false; // the last that happened is that a draft was kept
let trouble = "";
let broken = "";
let heldBack = false; // a link was tapped that leads nowhere now

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
  heldBack: (now) => {
    heldBack = now;
    return show();
  },
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
  const others = rows.filter((row) => row.by !== me);
  const parts = [];
  if (mine.length) parts.push(`${mine.length} waiting ${onlyHere() ? "on this page only" : "on this tablet"}${trouble ? `: ${trouble}` : ""}`);
  if (mine.some((row) => Date.now() - row.at > LONG)) parts.push("for more than a quarter of an hour");
  if (refused.length) parts.push(`${refused.length} not taken by the bench: see below`);
  if (others.length) parts.push(`${others.length} of ${whose(others)} waiting: let them sign in${isOwner ? ", or see below" : me ? ", or ask an owner" : ""}`);
  const kept = rows.length || drafted ? ", and what was typed is kept here" : "";
  if (heldBack) parts.push(`that page cannot be opened without the network${broken || onlyHere() ? "" : kept}`);
  if (broken) parts.push(broken);
  else if (!parts.length) parts.push(drafted && lacksReason() ? `${last}: a reason is missing` : last);
  line.classList.toggle("waits", rows.length > 0 || broken !== "" || heldBack);
  const words = parts.join(", ").replace(/^that/, "That");
  if (line.textContent !== words) line.textContent = words;
  showList([...refused, ...mine], me ? others : []);
}

// Whoever is not signed in learns no names.
const nameOf = (row) => (me && row.name) || "somebody else";
function whose(rows) {
  const names = [...new Set(rows.map(nameOf))].sort((one, other) => (one === "somebody else") - (other === "somebody else"));
  return [names.slice(0, -1).join(", "), names.at(-1)].filter(Boolean).join(" and ");
}

// What others typed is nobody's to read but an owner's: their accounts may be closed, and then nobody else can let it go.
function showList(own, others) {
  const rows = isOwner ? [...own, ...others] : own;
  const name = [...own, ...others].map((row) => row.key + (row.refused ? "!" : "")).join();
  if (list.dataset.rows === name) return;
  list.dataset.rows = name;
  list.hidden = place.hidden = own.length + others.length === 0;
  const items = made("ul", "");
  items.append(...rows.map(item));
  if (others.length && !isOwner) items.append(made("li", `${others.length} of ${whose(others)}: only they can send ${others.length === 1 ? "it" : "them"}, and an owner can look.`));
  list.replaceChildren(made("summary", "What waits"), items);
  if (rows.length) list.append(made("button", "Save these as a file", { type: "button", onclick: () => asFile(rows) }));
  if (rows.some((row) => row.refused)) list.open = true;
}

function item(row) {
  const one = made("li", "");
  const strange = row.by !== me;
  const at = strange ? `${dayAndHour(new Date(row.at))}, ${nameOf(row)}` : hour(new Date(row.at));
  one.append(made("p", `${at}: ${toRead(row)}`));
  if (row.refused) one.append(made("p", row.refused.error, { className: "wrong" }));
  const deeds = made("p", "", { className: "row" });
  if (row.page && row.page !== location.pathname + location.search) deeds.append(made("a", "Its page", { href: row.page, className: "button" }));
  if (row.refused || strange) deeds.append(made("button", "Throw it away", { type: "button", onclick: () => throwAway(row) }));
  if (deeds.childElementCount) one.append(deeds);
  return one;
}

async function throwAway(row) {
  const strange = row.by === me ? "" : ` It was typed by ${nameOf(row)} and is recorded nowhere; it is gone then.`;
  if (!confirm(`Throw away what was entered: ${toRead(row)}?${strange}`)) return;
  await leave(row.key);
  if (!isDoubtful() || (await isReached())) location.reload();
  else show();
}

// So that a tablet that never reaches the bench again is not the only copy.
function asFile(rows) {
  const plain = rows.map((row) => ({ ...row, fields: row.fields.map(([name, value]) => [name, value instanceof File ? value.name : value]) }));
  const where = URL.createObjectURL(new Blob([JSON.stringify(plain, null, 1)], { type: "application/json" }));
  made("a", "", { href: where, download: "waiting entries.json" }).click();
  setTimeout(() => URL.revokeObjectURL(where), 10_000);
}

const place = made("section", "", { hidden: true });
place.setAttribute("aria-label", "What waits on this tablet");
place.append(list);
line.after(place);
