/* The last look at this phone's clock and the server's, kept beyond a page's life. */

import { get, write } from "./db.js";
import { whileSomebody } from "./session.js";

export const clock = async () => (await get("meta", "clock")) ?? null;

/** A later one in the store, another tab's, stays. Whether there is one now: nothing is kept while
    nobody is signed in, as of an answer that comes after signing out.
    @param {Look} look */
export async function keepClock(look) {
  let kept = false;
  await write(["meta"], ({ meta }) =>
    whileSomebody(meta, () => {
      kept = true;
      const asked = meta.get("clock");
      asked.onsuccess = () => {
        if (!(asked.result?.server > look.server)) meta.put(look, "clock");
      };
    }));
  return kept;
}
