/* A word in a cookie, which outlives a cleared store: that this phone was in use, when last, and how
   much waited on it. It says nothing of any animal, and no request of the app to the API carries it. */

const NAME = "rackside-was";
const AGE = 34_560_000; // seconds, the longest that browsers keep one
const STEP = 60_000; // milliseconds

/** @param {string} cookies as a document has them
    @returns {Marker | null} */
export function markerIn(cookies) {
  const found = cookies.split("; ").find((one) => one.startsWith(`${NAME}=`));
  const [at, waits] = (found?.slice(NAME.length + 1) ?? "").split(".").map(Number);
  return at > 0 && waits >= 0 ? { at, waits } : null;
}

/** The cookie that says so, by the minute.
    @param {Marker} marker
    @param {boolean} secure */
export const asCookie = ({ at, waits }, secure) =>
  set(`${Math.floor(at / STEP) * STEP}.${waits}`, AGE, secure);

/** The cookie by which it is forgotten.
    @param {boolean} secure */
export const noCookie = (secure) => set("", 0, secure);

/** @param {string} value
    @param {number} age
    @param {boolean} secure */
const set = (value, age, secure) =>
  `${NAME}=${value}; Max-Age=${age}; Path=/rackside/; SameSite=Strict${secure ? "; Secure" : ""}`;
