/* What a device signs of a fact, on the phone and on pages. */

import { bytesOf } from "./bytes.js";
import { canonical } from "./canonical.js";

/** The bytes a device signs: the log's entry of version 1 with `sig` null, whatever the version
    it will have. `by` and `device` are ids.
    @param {Fact} fact
    @param {string} by
    @param {string} device */
export function signable(fact, by, device) {
  const { id, kind, at, about, body } = fact;
  return bytesOf(canonical({ v: 1, kind, id, by, device, at, about, body, sig: null }));
}
