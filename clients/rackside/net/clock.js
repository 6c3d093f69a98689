/* Each answer of the server's says what its clock says: this phone's is compared with it. */

import { look } from "../pure/clock.js";
import { keepClock } from "../store/clock.js";

const APART = 60_000; // milliseconds between looks stored, unless the clock was set meanwhile

const life = crypto.randomUUID();
/** @type {Look | null} */
let latest = null;
/** @type {Look | null} */
let stored = null;

/** What this phone's clock says now, and how long its page has been there. */
export const reading = () => ({ here: Date.now(), mono: performance.now(), life });

/** The last look in this page's life, if any. */
export const lastLook = () => latest;

/** Takes a look; `header` is the answer's `Date`, to the second. Waits for nothing but a store
    that has something new to keep.
    @param {string | null} header */
export async function compare(header) {
  const serverTime = Date.parse(header ?? "");
  if (Number.isNaN(serverTime)) return;
  latest = look(serverTime + 500, reading());
  const news = !stored || latest.server - stored.server >= APART ||
    Math.abs(latest.offset - stored.offset) > 1;
  if (!news) return;
  stored = latest;
  if (!(await keepClock(latest).catch(() => false))) stored = null; // the next answer brings another
}
