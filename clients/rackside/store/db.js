/* The phone's own store: IndexedDB behind three verbs. What `write` has returned from is on the
   disk ("strict" durability), all of it or nothing. */

const NAME = "rackside";
const VERSION = 7;
const MANY = 64; // keys
const STORES = {
  meta: null,
  visits: "id",
  animals: "id",
  outbox: "id",
  drafts: "animal",
  photos: "id",
  named: "id",
  proved: "id",
  facts: "id",
  sittings: "id",
};
/* Of facts, those about one animal are asked for. */
/** @type {Record<string, string>} */
const INDEXES = { facts: "about" };

/** @type {Promise<IDBDatabase> | null} */
let opening = null;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = ({ oldVersion }) => {
      upgrade(asked.result, oldVersion);
      if (oldVersion && oldVersion < 7) {
        fetchAnew(/** @type {IDBTransaction} */ (asked.transaction));
      }
    };
    asked.onsuccess = () => resolve(watched(asked.result));
    asked.onerror = () => reject(asked.error);
  }).catch((fault) => {
    opening = null;
    throw fault;
  });
  return opening;
}

/** @param {IDBDatabase} db
    @param {number} from */
function upgrade(db, from) {
  // Before, animals were kept by visit; the feed brings them anew.
  if (from && from < 3) db.deleteObjectStore("animals");
  for (const [name, keyPath] of Object.entries(STORES)) {
    if (!db.objectStoreNames.contains(name)) {
      const made = db.createObjectStore(name, keyPath ? { keyPath } : {});
      if (name in INDEXES) made.createIndex(INDEXES[name], INDEXES[name]);
    }
  }
}

/** Before, nothing was kept of what is in the keeper's own name, nor the facts about animals of their
    own: all of it is looked at again.
    @param {IDBTransaction} step */
function fetchAnew(step) {
  const meta = step.objectStore("meta");
  const asked = meta.get("feed");
  asked.onsuccess = () => {
    const pull = (asked.result?.pull ?? 0) + 1;
    if (asked.result) meta.put({ cursor: null, pull, anew: true }, "feed");
  };
}

/** @param {IDBDatabase} db */
function watched(db) {
  // A newer version in another tab may upgrade; this one reads on after opening again.
  db.onclose = () => {
    opening = null;
  };
  db.onversionchange = () => {
    db.close();
    opening = null;
  };
  return db;
}

/** @template T
    @param {IDBRequest<T>} request
    @returns {Promise<T>} */
function result(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** @template {keyof Kept} S
    @param {S} store
    @returns {Promise<Kept[S][]>} */
export async function all(store) {
  return result((await open()).transaction(store).objectStore(store).getAll());
}

/** @template {keyof Kept | "meta"} S
    @template {string} K
    @param {S} store
    @param {K} key
    @returns {Promise<Held<S, K> | undefined>} */
export async function get(store, key) {
  return result((await open()).transaction(store).objectStore(store).get(key));
}

/** Those of these keys that are there. Where they are many and a good part of the store, it is read
    whole, as a thousand questions take longer.
    @template {keyof Kept} S
    @param {S} store
    @param {string[]} keys
    @returns {Promise<Kept[S][]>} */
export async function some(store, keys) {
  const held = (await open()).transaction(store).objectStore(store);
  if (keys.length > MANY && keys.length * 8 > await result(held.count())) {
    const wanted = new Set(keys);
    const path = /** @type {string} */ (held.keyPath);
    return (await result(held.getAll())).filter((one) => wanted.has(one[path]));
  }
  const found = await Promise.all(keys.map((key) => result(held.get(key))));
  return found.filter(Boolean);
}

/** Those whose index has this value.
    @template {keyof Kept} S
    @param {S} store
    @param {string} value
    @returns {Promise<Kept[S][]>} */
export async function of(store, value) {
  const held = (await open()).transaction(store).objectStore(store);
  return result(held.index(INDEXES[store]).getAll(value));
}

/** @type {(full: boolean) => void} */
let toldOfRoom = () => {};
/** `tell` is called with true where something could not be kept for want of room, and with false
    once what is typed is kept again.
    @param {(full: boolean) => void} tell */
export function onRoom(tell) {
  toldOfRoom = tell;
}

/** One transaction over `stores`; `work` gets them by name and only asks, without awaiting.
    Resolves when everything is on the disk.
    @param {string[]} stores
    @param {(open: OpenStores) => void} work
    @returns {Promise<void>} */
export async function write(stores, work) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const step = db.transaction(stores, "readwrite", { durability: "strict" });
    step.oncomplete = () => {
      if (stores.includes("drafts")) toldOfRoom(false);
      resolve();
    };
    step.onabort = () => {
      if (step.error?.name === "QuotaExceededError") toldOfRoom(true);
      reject(step.error ?? new Error("the phone’s store refused"));
    };
    work(Object.fromEntries(stores.map((name) => [name, step.objectStore(name)])));
  });
}

/** Reads all of one store and writes what `change` makes of it, in one transaction, so that no
    other tab comes between. `change(records)` gives the records to put.
    @template {keyof Kept} S
    @param {S} store
    @param {(records: Kept[S][]) => Kept[S][]} change */
export function revise(store, change) {
  return write([store], (open) => {
    const asked = open[store].getAll();
    asked.onsuccess = () => change(asked.result).forEach((one) => open[store].put(one));
  });
}

export const EVERY_STORE = Object.keys(STORES);

/** Everything gone, as after signing out. */
export const forget = () =>
  write(EVERY_STORE, (open) => EVERY_STORE.forEach((name) => open[name].clear()));
