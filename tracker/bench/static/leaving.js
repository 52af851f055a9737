// Does anything of the person who signs out still wait on this tablet?

import { me } from "./fields.js";
import { made } from "./line.js";
import { sendAll, waiting } from "./queue.js";

let agreed = false;

async function asked(event) {
  const form = event.target;
  if (agreed || form.getAttribute("action") !== "/sign-out") return;
  event.preventDefault();
  await sendAll();
  const count = (await waiting()).filter((row) => row.by === me).length;
  const goOn = () => {
    agreed = true;
    form.requestSubmit(event.submitter);
  };
  if (!count) return goOn();
  document.getElementById("leaving")?.remove();
  const box = made("div", "", { id: "leaving", className: "wrong" });
  box.setAttribute("role", "alert");
  const name = form.querySelector("button").textContent.trim();
  const what = count === 1 ? "1 entry waits on this tablet and is" : `${count} entries wait on this tablet and are`;
  const row = made("p", "", { className: "row" });
  const stay = made("button", "Stay", { type: "button", onclick: () => box.remove() });
  row.append(stay, made("button", "Sign out anyway", { type: "button", onclick: goOn }));
  box.append(made("p", `${what} not recorded yet. Signing out keeps ${count === 1 ? "it" : "them"} here until ${name} is back.`), row);
  document.getElementById("content").prepend(box);
  stay.focus();
}

document.addEventListener("submit", asked);
