/* Who is signed in on this phone, and the key it signs with.

   `session` in the store: {keeper, name, email, device, token, expired}. `key`: {pair, enrolment,
   state} with state "pending" | "enrolled" | "refused"; the private half cannot be taken out of
   the browser. No key: the browser cannot make one, and calls go unsigned. */

import { get, write } from "./db.js";

export const session = () => get("meta", "session");
export const key = () => get("meta", "key");

export function keep(values) {
  return write(["meta"], ({ meta }) => {
    for (const [name, value] of Object.entries(values)) {
      if (value === null) meta.delete(name);
      else meta.put(value, name);
    }
  });
}
