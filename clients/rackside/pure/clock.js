/* This phone's clock held against the server's. Values in, values out; moments in milliseconds.

   A *look* is one glance at both clocks: {server, here, mono, life, offset}. `offset`: whole
   seconds, server minus phone. `mono` runs evenly within one life of a page, whatever is done to
   the clock; it may stand still while the phone sleeps. A *reading* is what the clock said when
   something was noted: {here, mono, life, before}, `before` being the last look till then. */

/** Seconds that a clock may be off before it is spoken of: as far as the server lets one be
    ahead without a word. */
export const SLACK = 300;
/** Seconds by which two looks at a clock that nobody set may differ: the server's header has
    whole seconds and comes late by the line's time (our judgement). */
const STEADY = 60;

/** @param {number} serverMs
    @param {Reading} reading
    @returns {Look} */
export function look(serverMs, { here, mono, life }) {
  return { server: serverMs, here, mono, life, offset: Math.round((serverMs - here) / 1000) };
}

/** Whether the clock has run evenly from the look to the reading: then it is off as it was.
    @param {Reading} reading
    @param {Look | null} look */
export const holds = (reading, look) => look !== null && together(reading, look);

/** The look by which a reading can be put right. Null where none was had, or where the clock was
    set between the reading and the look, so that how far it was off then is unknown.
    @param {Reading} reading
    @param {Look | null} latest
    @returns {Look | null} */
export function lookFor(reading, latest) {
  const { before } = reading;
  if (latest && together(reading, latest)) return latest;
  if (before && together(reading, before)) return before;
  if (!latest || !before) {
    return latest && reading.here <= latest.here + STEADY * 1000 ? latest : null;
  }
  const steady = Math.abs(latest.offset - before.offset) <= STEADY;
  const between = reading.here >= before.here - STEADY * 1000 &&
    reading.here <= after(latest, before);
  return steady && between ? latest : null;
}

/** Both in one page's life, and the clock ran as evenly as the page's own time.
    @param {Reading} one
    @param {Reading} other */
function together(one, other) {
  const drift = (one.here - one.mono) - (other.here - other.mono);
  return one.life === other.life && Math.abs(drift) <= STEADY * 1000;
}

/** Up to when a reading fits: without a later look nothing speaks against any.
    @param {Look} latest
    @param {Look} before */
const after = (
  latest,
  before,
) => (latest.server > before.server ? latest.here + STEADY * 1000 : Infinity);

/** @param {Look | null} look */
export const isOff = (look) => look !== null && Math.abs(look.offset) >= SLACK;

/** A reading put right: the time to claim, and what is said of it in the fact's body.
    @param {Reading} reading
    @param {Look} look */
export function corrected(reading, look) {
  return {
    at: new Date(reading.here + look.offset * 1000).toISOString(),
    corrected: {
      read: new Date(reading.here).toISOString(),
      offset: String(look.offset),
      measured_at: new Date(look.server).toISOString(),
    },
  };
}

/** @type {[number, string][]} */
const UNITS = [[86_400, "day"], [3600, "hour"], [60, "minute"]];

/** `2 days behind`, `1 day and 3 hours ahead`, of a clock to which `offset` must be added.
    @param {number} offset */
export function wayOff(offset) {
  let rest = Math.round(Math.abs(offset) / 60) * 60;
  const counts = UNITS.map(([size, name]) => {
    const count = Math.floor(rest / size);
    rest -= count * size;
    return count && `${count} ${name}${count === 1 ? "" : "s"}`;
  });
  const first = counts.findIndex(Boolean);
  const words = counts.slice(first, first + 2).filter(Boolean).join(" and ");
  return `${words || "less than a minute"} ${offset > 0 ? "behind" : "ahead"}`;
}
