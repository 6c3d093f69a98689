// How old the state is that is shown (server/LOG.md). The reader's clock may be wrong: what comes of
// it is a sentence, never an alarm.

const SLACK = 300;
const LONGEST_PROMISE = 7 * 86_400;

/** What is to be said of a state that was `received` by the log's clock, null where it does not
 * tell; `now`: milliseconds by this device's. `within`: the seconds in which the log promised a
 * newer one. Empty where all is well.
 * @param {string | null} received
 * @param {number} now
 * @param {unknown} within */
export function overdue(received, now, within) {
  if (received === null || typeof within !== "number") {
    return "The log does not show when it signed this state.";
  }
  const age = (now - Date.parse(received)) / 1000;
  const promised = Math.min(within, LONGEST_PROMISE);
  const reads = `this device’s clock, which reads ${new Date(now).toUTCString()}`;
  if (age < -SLACK) {
    return `This state was signed ${
      long(-age)
    } ahead of ${reads}. Either that clock is slow or the log’s is fast; how old it is cannot be told.`;
  }
  if (age <= promised + SLACK) return "";
  return `This state is ${long(age)} old by ${reads}; the log promises one every ${
    long(promised)
  }. Either that clock is fast, or the log has stood still, or you are shown an old state: compare with the other side.`;
}

/** @param {number} seconds */
function long(seconds) {
  const [unit, name] = seconds >= 2 * 86_400
    ? [86_400, "days"]
    : seconds >= 7200
    ? [3600, "hours"]
    : [60, "minutes"];
  return `${Math.floor(seconds / unit)} ${name}`;
}
