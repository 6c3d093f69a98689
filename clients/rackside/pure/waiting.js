/* How long to wait before the next try. */

const LONGEST = 300;

/** Seconds before try number `tries` + 1: doubled each time, up to five minutes, spread by
    `chance` (0 to 1) so that phones do not all come at once. */
export function backoff(tries, chance) {
  return Math.min(LONGEST, 2 ** Math.min(tries, 10)) * (0.5 + chance / 2);
}

/** Seconds that a `Retry-After` header asks for; null where there is none to read. */
export function retryAfter(header, nowMs) {
  if (!header) return null;
  if (/^\d+$/.test(header.trim())) return Number(header);
  const moment = Date.parse(header);
  return Number.isNaN(moment) ? null : Math.max(0, Math.ceil((moment - nowMs) / 1000));
}
