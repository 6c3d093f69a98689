/* What came of holding animals to the log, in `proved`, by animal; `map_key` in `meta`: the key that
   the map of animals is made with, which never changes while the log keeps its name.

   Of an animal that its keeper is to check blind nothing is kept here: it would count what was said. */

import { isCurrent, joined } from "../pure/proved.js";
import { get, write } from "./db.js";
import { whileSignedIn } from "./session.js";

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
      for (const one of found) {
        const asked = open.animals.get(one.id);
        asked.onsuccess = () => {
          if (asked.result?.sight !== "all" || !isCurrent(asked.result, one)) return;
          const before = open.proved.get(one.id);
          before.onsuccess = () => open.proved.put(joined(one, before.result));
        };
      }
    }));
}

/** What did not fit of an animal, and fits by now, is set aside by its keeper.
    @param {string} id */
export function setAside(id) {
  return write(["proved"], ({ proved }) => {
    const asked = proved.get(id);
    asked.onsuccess = () => asked.result && proved.put({ ...asked.result, was: null });
  });
}
