// Never an earlier sample: a page that the browser kept is asked for again. And how long is the rest?

addEventListener("pageshow", (event) => event.persisted && location.replace("/taste"));

// Nor the code of a card: whoever tastes next at this tablet would find it on the way back.
if (new URLSearchParams(location.search).has("code")) history.replaceState(null, "", location.pathname);

const rest = document.querySelector("[data-rest]");
const at = rest?.textContent;

// By how long the page is open: clocks of tablets are wrong.
function left() {
  const seconds = Math.ceil(Number(rest.dataset.rest) - performance.now() / 1000);
  if (seconds <= 0) location.replace("/taste");
  else rest.textContent = `${at} (in ${seconds} s)`;
}

if (rest) {
  setInterval(left, 1000);
  left();
}
