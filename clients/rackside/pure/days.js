/* How long ago something was, in words that are read at a glance. */

const DAY = 86_400_000;

/** "today", "yesterday", "12 days ago", or the day itself where it is long ago; by the days of the
    place where the phone is.
    @param {number} at milliseconds
    @param {number} now milliseconds */
export function inWords(at, now) {
  const days = Math.round((midnight(now) - midnight(at)) / DAY);
  if (days === 0) return "today";
  if (days === 1) return "yesterday";
  if (days > 1 && days < 100) return `${days} days ago`;
  return new Intl.DateTimeFormat(undefined, { dateStyle: "medium" }).format(new Date(at));
}

/** @param {number} moment */
const midnight = (moment) => new Date(moment).setHours(0, 0, 0, 0);
