/* The last look at this phone's clock and the server's, kept beyond a page's life. */

import { get, write } from "./db.js";

export const clock = async () => (await get("meta", "clock")) ?? null;

/** A later one in the store, another tab's, stays.
    @param {Look} look */
export function keepClock(look) {
  return write(["meta"], ({ meta }) => {
    const asked = meta.get("clock");
    asked.onsuccess = () => {
      if (!(asked.result?.server > look.server)) meta.put(look, "clock");
    };
  });
}
