// What do the amounts give while they are being changed? Asks the bench a moment after the last key.

import { spare } from "./growing.js";

const WAIT = 300;
const form = document.querySelector("form[data-balance]");
const place = document.getElementById("balance");
let timer;
let asked;

function line(words, name) {
  const made = document.createElement("p");
  made.textContent = words;
  if (name) made.className = name;
  return made;
}

function show(told) {
  const [first, ...rest] = told.said;
  const shown = first ? [line(first, "lead")] : [];
  if (told.facts.length) {
    const list = document.createElement("dl");
    for (const [fact, value] of told.facts) {
      const row = document.createElement("div");
      row.append(
        Object.assign(document.createElement("dt"), { textContent: fact }),
        Object.assign(document.createElement("dd"), { textContent: value }),
      );
      list.append(row);
    }
    shown.push(list);
  }
  if (rest.length) {
    const list = document.createElement("ul");
    list.append(...rest.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    shown.push(list);
  }
  if (told.total) shown.push(line(`All lines together: ${told.total}.`));
  if (told.wrong) shown.push(line(told.wrong, "wrong"));
  place.replaceChildren(...shown);
}

async function ask() {
  asked?.abort();
  asked = new AbortController();
  const { signal } = asked;
  try {
    const answer = await fetch(form.dataset.balance, {
      method: "POST",
      body: new URLSearchParams([...new FormData(form)]),
      headers: { accept: "application/json" },
      signal,
    });
    const told = await answer.json();
    if (answer.ok) show(told);
    else place.replaceChildren(line(`The balance is not known: ${told.error}`, "wrong"));
  } catch (problem) {
    if (problem.name !== "AbortError") place.replaceChildren(line("The balance waits for the network.", "wrong"));
  }
}

form?.addEventListener("input", () => {
  spare(form);
  clearTimeout(timer);
  timer = setTimeout(ask, WAIT);
});
