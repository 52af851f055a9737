// Is the bench within reach? What was last heard of it, and a small question where that is in doubt.

const PATIENCE = 4000;
let failed = false; // the last that was sent reached nobody

export const heard = (answered) => (failed = !answered);
export const isDoubtful = () => failed || !navigator.onLine;

export async function isReached() {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE);
  try {
    await fetch("/static/icon.svg", { method: "HEAD", cache: "no-store", signal: stop.signal });
    failed = false;
    return true;
  } catch {
    failed = true;
    return false;
  } finally {
    clearTimeout(timer);
  }
}
