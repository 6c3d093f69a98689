/* What came of holding animals to the log, in `proved`, by animal. In `meta`: `unfit`, the ids of
   those that do not fit or did not, and maybe of some that are gone; `map_key`, the key that the map
   of animals is made with, which never changes while the log keeps its name.

   Of an animal that its keeper is to check blind nothing is kept here: it would count what was said. */

import { isCurrent, joined, unfitNow } from "../pure/proved.js";
import { get, some, write } from "./db.js";
import { whileSignedIn } from "./session.js";

/** Of these animals, and of all that do not fit or did not; of a breeder's thousands it is few.
    @param {string[]} ids */
export async function provedOf(ids) {
  const unfit = (await get("meta", "unfit")) ?? [];
  return await some("proved", [...new Set([...ids, ...unfit])]);
}

export const mapKey = async () => (await get("meta", "map_key")) ?? null;

/** What came of a batch. An animal that changed meanwhile is asked for again, one that went or is
    blind by now stays without.
    @param {Session} session
    @param {Proved[]} found
    @param {MapKey | null} mapKey */
export function keepProved(session, found, mapKey) {
  return write(["animals", "proved", "meta"], (open) =>
    whileSignedIn(open.meta, session, () => {
      if (mapKey) open.meta.put(mapKey, "map_key");
      marking(open.meta, (mark) => found.forEach((one) => keepOne(open, one, mark)));
    }));
}

/** @param {OpenStores} open
    @param {Proved} one
    @param {(proved: Proved) => void} mark */
function keepOne({ animals, proved }, one, mark) {
  const asked = animals.get(one.id);
  asked.onsuccess = () => {
    if (asked.result?.sight !== "all" || !isCurrent(asked.result, one)) return;
    const before = proved.get(one.id);
    before.onsuccess = () => {
      const now = joined(one, before.result);
      proved.put(now);
      mark(now);
    };
  };
}

/** With a transaction over `meta`: `work` is given a way to mark which fit and which do not.
    @param {IDBObjectStore} meta
    @param {(mark: (proved: Proved) => void) => void} work */
function marking(meta, work) {
  const asked = meta.get("unfit");
  asked.onsuccess = () => {
    /** @type {Set<string>} */
    const unfit = new Set(asked.result ?? []);
    work((proved) => {
      const odd = unfitNow(proved) !== null;
      if (unfit.has(proved.id) === odd) return;
      if (odd) unfit.add(proved.id);
      else unfit.delete(proved.id);
      meta.put([...unfit], "unfit");
    });
  };
}

/** What did not fit of an animal, and fits by now, is set aside by its keeper.
    @param {string} id */
export function setAside(id) {
  return write(["proved", "meta"], ({ proved, meta }) =>
    marking(meta, (mark) => {
      const asked = proved.get(id);
      asked.onsuccess = () => {
        if (!asked.result) return;
        const now = { ...asked.result, was: null };
        proved.put(now);
        mark(now);
      };
    }));
}
