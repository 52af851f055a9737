// Where is something kept on this tablet? One small database; when a browser refuses it, memory,
// and the page says that nothing outlasts it.

const NAME = "crumbwise-bench";
let opened;

export function database() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("drafts");
      asked.result.createObjectStore("queue", { keyPath: "key" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("blocked"));
  });
  return opened;
}

async function within(store, mode, deed) {
  const db = await database();
  return new Promise((resolve, reject) => {
    // "strict": it is on the disk when the promise resolves, so that an empty battery takes nothing along.
    const deal = db.transaction(store, mode, { durability: "strict" });
    const asked = deed(deal.objectStore(store));
    deal.oncomplete = () => resolve(asked?.result);
    deal.onerror = deal.onabort = () => reject(deal.error);
  });
}

export const get = (store, key) => within(store, "readonly", (its) => its.get(key));
export const all = (store) => within(store, "readonly", (its) => its.getAll());
export const remove = (store, key) => within(store, "readwrite", (its) => its.delete(key));
export const put = (store, value, key) =>
  within(store, "readwrite", (its) => (key === undefined ? its.put(value) : its.put(value, key)));

// 128 random bits; crypto.randomUUID is missing over plain http.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
