// What a page does beyond reading and posting: drafts, the queue, ticks and timers.
// Works over plain http in the kitchen's own network, where there is no service worker.
