// How far is the weighing, and how long is it in the oven?

import { get, put } from "./keep.js";
import { say } from "./line.js";

// Ticks belong to the tablet at the scale, not to the record.
async function ticks() {
  for (const list of document.querySelectorAll("[data-ticks]")) {
    const name = `ticks|${list.dataset.ticks}`;
    const kept = new Set((await get("drafts", name).catch(() => null)) ?? []);
    for (const box of list.querySelectorAll("[data-tick]")) {
      box.checked = kept.has(box.dataset.tick);
      box.addEventListener("change", () => {
        box.checked ? kept.add(box.dataset.tick) : kept.delete(box.dataset.tick);
        put("drafts", [...kept], name).catch(say.broken);
      });
    }
  }
}

// Worked out from the moment that was kept, so that sleep and reload change nothing; by the bench's clock,
// since that of a tablet may be off.
function timers() {
  const all = document.querySelectorAll("[data-timer]");
  const off = Number(document.body.dataset.now) - Date.now() || 0;
  const ahead = Math.abs(off) > 5000 ? off : 0;
  const tick = () => {
    for (const timer of all) {
      const seconds = Math.max(0, Math.floor((Date.now() + ahead - Date.parse(timer.dataset.timer)) / 1000));
      const rest = String(seconds % 60).padStart(2, "0");
      timer.textContent = `${Math.floor(seconds / 60)}:${rest} min`;
    }
  };
  if (all.length) setInterval(tick, 1000);
  tick();
}

timers();
ticks();
