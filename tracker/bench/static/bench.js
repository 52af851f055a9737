// What a page does beyond reading and posting: drafts, the queue, ticks and timers.
// Works over plain http in the kitchen's own network, where there is no service worker.

import "./baking.js";
import { keepDrafts } from "./drafts.js";
import { keepForms } from "./forms.js";
import "./leaving.js";
import { say, show } from "./line.js";
import "./links.js";
import { keepTrying } from "./queue.js";

keepDrafts(say)
  .then(keepForms)
  .then(() => (document.body.dataset.ready = "yes")) // what was typed before is in its fields again
  .then(keepTrying)
  .then(show)
  .catch(say.broken);
