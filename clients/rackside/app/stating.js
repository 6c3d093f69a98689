/* What is stated on this phone: signed, stored, then sent. One way in for every fact. */

import { sign } from "../net/keys.js";
import { saved } from "../pure/outbox.js";
import { saveCall } from "../store/outbox.js";
import { changed, state } from "./state.js";
import { sync } from "./sync.js";

/** A fact of its keeper's, signed by this phone where it has a key; `place`: in what order those of
    one moment go.
    @param {Fact} fact
    @param {Made} made
    @returns {Promise<Stored>} */
export async function record(fact, { place, ...more }) {
  const { key } = state;
  const session = /** @type {Session} */ (state.session);
  const sig = key ? await sign(key.pair, fact, session.keeper, session.device) : null;
  return saved(fact, {
    ...more,
    by: session.keeper,
    device: session.device,
    sig,
    order: Date.now() + place / 16,
  });
}

/** Stores together what its keeper did in one go, with what goes with it. Returns when it is on
    the disk; sending begins by itself. `once`: see saveCall.
    @param {Stored[]} records
    @param {{
      files?: PhotoFile[], draft?: string, unneeded?: string[], person?: Person | null, once?: string[],
    }} [more] */
export async function store(records, { files = [], ...more } = {}) {
  await saveCall(records, files, more);
  await changed();
  sync();
}
