// This browser's Ed25519 keys, one a keeper, in IndexedDB: made here, and never to be read out.

const NAME = "Ed25519";
const DB = "signing";
const STORE = "keys";

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(DB, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "keeper" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** What `work` asks of the keys; it is on the disk when this returns.
 * @param {IDBTransactionMode} mode
 * @param {(keys: IDBObjectStore) => IDBRequest} work
 * @returns {Promise<any>} */
async function within(mode, work) {
  const db = await open();
  try {
    return await new Promise((resolve, reject) => {
      const step = db.transaction(STORE, mode, { durability: "strict" });
      const asked = work(step.objectStore(STORE));
      step.oncomplete = () => resolve(asked.result);
      step.onabort = () => reject(step.error);
    });
  } finally {
    db.close();
  }
}

/** @param {string} keeper
 * @returns {Promise<BrowserKey | null>} */
export const keyOf = async (keeper) => await within("readonly", (keys) => keys.get(keeper)) ?? null;

/** @param {BrowserKey} key */
export const keep = (key) => within("readwrite", (keys) => keys.put(key));

/** @param {string} keeper */
export const forget = (keeper) => within("readwrite", (keys) => keys.delete(keeper));

/** A new key for the keeper's device; null where the browser cannot make one.
 * @param {string} keeper
 * @param {string} device
 * @returns {Promise<BrowserKey | null>} */
export async function make(keeper, device) {
  try {
    const pair = await crypto.subtle.generateKey({ name: NAME }, false, ["sign", "verify"]);
    const raw = new Uint8Array(await crypto.subtle.exportKey("raw", pair.publicKey));
    return { keeper, device, pair, public: raw };
  } catch (fault) {
    const { name } = /** @type {Error} */ (fault);
    if (name === "NotSupportedError" || fault instanceof TypeError) return null;
    throw fault;
  }
}

/** @param {BrowserKey} key
 * @param {Bytes} bytes */
export const signature = async (key, bytes) =>
  new Uint8Array(await crypto.subtle.sign(NAME, key.pair.privateKey, bytes));
