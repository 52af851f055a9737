// Where is something kept on this tablet? In one small database, which a browser may refuse, find
// full, or lose hold of while the tablet sleeps.

const NAME = "crumbwise-bench";
let opened;

function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("drafts");
      asked.result.createObjectStore("queue", { keyPath: "key" });
    };
    asked.onsuccess = () => {
      const db = asked.result;
      db.onclose = () => (opened = undefined);
      db.onversionchange = () => db.close();
      resolve(db);
    };
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("blocked"));
  });
}

async function database() {
  opened ??= open();
  try {
    return await opened;
  } catch (problem) {
    opened = undefined; // asked anew the next time: room may have been made
    throw problem;
  }
}

// One transaction: all of the deed or none of it.
export async function within(stores, mode, deed, again = true) {
  const db = await database();
  try {
    return await new Promise((resolve, reject) => {
      // "strict": it is on the disk when the promise resolves, so that an empty battery takes nothing along.
      const deal = db.transaction(stores, mode, { durability: "strict" });
      const asked = deed((name) => deal.objectStore(name));
      deal.commit?.(); // not left to the browser, which takes back what is open when the page goes away
      deal.oncomplete = () => resolve(asked?.result);
      deal.onabort = () => reject(deal.error);
    });
  } catch (problem) {
    if (!again || problem?.name !== "InvalidStateError") throw problem;
    opened = undefined; // the connection was closed while the tablet slept
    return within(stores, mode, deed, false);
  }
}

export const get = (store, key) => within(store, "readonly", (its) => its(store).get(key));
export const all = (store) => within(store, "readonly", (its) => its(store).getAll());
export const remove = (store, key) => within(store, "readwrite", (its) => its(store).delete(key));
export const put = (store, value, key) =>
  within(store, "readwrite", (its) => (key === undefined ? its(store).put(value) : its(store).put(value, key)));

// 128 random bits; crypto.randomUUID is missing over plain http.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
