/* How long to wait before the next attempt. */

const LONGEST = 300;
/** Pushes a phone makes in any ten seconds while something fails, whatever the cause and
    whoever asks for them (our judgement: quick enough to isolate a few faulty items). */
const MOST = 4;
const SPAN = 10_000;

/** Seconds before attempt number `attempts` + 1: doubled each time, up to five minutes, spread by
    `chance` (0 to 1) so that phones do not all come at once.
    @param {number} attempts
    @param {number} chance */
export function backoff(attempts, chance) {
  return Math.min(LONGEST, 2 ** Math.min(attempts, 10)) * (0.5 + chance / 2);
}

/** Seconds that a `Retry-After` header asks for; null where there is none to read.
    @param {string | null} header
    @param {number} nowMs */
export function retryAfter(header, nowMs) {
  if (!header) return null;
  if (/^\d+$/.test(header.trim())) return Number(header);
  const moment = Date.parse(header);
  return Number.isNaN(moment) ? null : Math.max(0, Math.ceil((moment - nowMs) / 1000));
}

/** Seconds until one more push may go, after those at the moments `pushes`.
    @param {number[]} pushes
    @param {number} nowMs */
export function pace(pushes, nowMs) {
  const recent = pushes.filter((one) => one > nowMs - SPAN && one <= nowMs);
  return recent.length < MOST ? 0 : (recent[recent.length - MOST] + SPAN - nowMs) / 1000;
}

/** Seconds left of a rest of so many `seconds` from `from` on. A clock set back since ends it:
    nobody knows how long it has been.
    @param {Rest | null | undefined | false} rest
    @param {number} nowMs */
export function left(rest, nowMs) {
  if (!rest || nowMs < rest.from) return 0;
  return Math.max(0, rest.seconds - (nowMs - rest.from) / 1000);
}
