// Does anything of the person who signs out still wait on this tablet, and was anybody signed out at all?

import { me } from "./fields.js";
import { made } from "./line.js";
import { sendAll, waiting } from "./queue.js";

function told(words, ...buttons) {
  document.getElementById("leaving")?.remove();
  const box = made("div", "", { id: "leaving", className: "wrong" });
  box.setAttribute("role", "alert");
  const row = made("p", "", { className: "row" });
  row.append(made("button", "Stay", { type: "button", onclick: () => box.remove() }), ...buttons);
  box.append(made("p", words), row);
  document.getElementById("content").prepend(box);
  row.querySelector("button").focus();
}

// Sent from here, since a form that reaches nobody ends on a page of the browser with the person still signed in.
async function leave(form) {
  try {
    const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    if (!answer.redirected) throw new Error(String(answer.status));
    location.assign(answer.url);
  } catch {
    told("The bench cannot be reached, so you are still signed in here. Sign out again when it is back; until then keep this tablet with you.");
  }
}

async function asked(event) {
  const form = event.target;
  if (form.getAttribute("action") !== "/sign-out") return;
  event.preventDefault();
  await sendAll();
  const count = (await waiting()).filter((row) => row.by === me).length;
  if (!count) return leave(form);
  const name = form.dataset.name || form.querySelector("button").textContent.trim();
  const what = count === 1 ? "1 entry waits on this tablet and is" : `${count} entries wait on this tablet and are`;
  told(
    `${what} not recorded yet. Signing out keeps ${count === 1 ? "it" : "them"} here until ${name} is back.`,
    made("button", "Sign out anyway", { type: "button", onclick: () => leave(form) }),
  );
}

document.addEventListener("submit", asked);
