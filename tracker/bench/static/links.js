// Does a link lead anywhere? Without the network it would end on an error page of the browser, away from what was
// typed. Only where the last that was sent reached nobody, or the tablet says so, is the bench asked first; a link
// is held back when it does not answer, and followed when it does.

import { say } from "./line.js";
import { isDoubtful, isReached } from "./network.js";

const AGAIN = 4000;
let timer;

async function tapped(event) {
  const link = event.target.closest?.("a[href]");
  const plainly = event.button === 0 && !(event.metaKey || event.ctrlKey || event.shiftKey || event.altKey);
  if (!link || !plainly || event.defaultPrevented || !isDoubtful()) return;
  if (link.origin !== location.origin || link.target || link.hasAttribute("download")) return;
  if (link.hash && link.pathname + link.search === location.pathname + location.search) return; // a place on this page
  event.preventDefault();
  if (await isReached()) location.assign(link.href);
  else holdBack();
}

function holdBack() {
  say.heldBack(true);
  clearInterval(timer);
  timer = setInterval(async () => {
    if (!(await isReached())) return;
    clearInterval(timer);
    say.heldBack(false);
  }, AGAIN);
}

document.addEventListener("click", tapped);
