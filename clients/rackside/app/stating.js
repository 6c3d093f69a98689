/* What is stated on this phone: signed, stored, then sent. One way in for every fact. */

import { sign } from "../net/keys.js";
import { saved } from "../pure/outbox.js";
import { isShelved, withUndo } from "../pure/undo.js";
import { save } from "../store/outbox.js";
import { announce } from "./announcing.js";
import { notKept } from "./dom.js";
import { felt } from "./feedback.js";
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

/** An edit of a record, which is never signed.
    @param {Pick<Stored, "fact" | "edit">} made
    @param {Stored["shown"]} shown
    @param {number} order
    @returns {Stored} */
export function unsigned(made, shown, order) {
  const { keeper, device } = /** @type {Session} */ (state.session);
  const { id } = made.fact;
  const rest = { sig: null, form: null, reading: null, call: id, tries: 0 };
  return { id, ...made, by: keeper, device, shown, order, state: "saved", ...rest };
}

/** Stores together what its keeper did in one go, with what goes with it. Returns when it is on
    the disk; sending begins by itself once it can no longer be undone. `once`, `instead`: see
    store/outbox.js.
    @param {Stored[]} records
    @param {{
      files?: PhotoFile[], draft?: string, unneeded?: string[], person?: Person | null, once?: string[],
      instead?: string[],
    }} [more] */
export async function store(records, { files = [], instead = [], ...more } = {}) {
  const now = Date.now();
  const edited = state.outbox.filter((one) => isChangedBy(one, records)).map(({ id }) => id);
  await save(records.map((one) => withUndo(one, now)), files, {
    ...more,
    instead: [...instead, ...edited],
  });
  felt();
  await changed();
  sync();
}

/** Whether the address names it as the entry that is being changed, and this is the change.
    @param {Stored} one
    @param {Stored[]} records */
function isChangedBy(one, records) {
  const from = new URLSearchParams(location.hash.split("?")[1]).get("from");
  const sort = (/** @type {Stored} */ { fact }) =>
    [fact.kind, fact.about, fact.body.noted?.type].join();
  return one.id === from && isShelved(one) && records.some((made) => sort(made) === sort(one));
}

/** The same work, but not again while it is under way: a second tap meanwhile is a slip. Where the
    phone has no room for it, that is said.
    @template {any[]} G
    @param {(...given: G) => Promise<void>} work
    @returns {(...given: G) => Promise<void>} */
export function oneAtATime(work) {
  let going = false;
  return async (...given) => {
    if (going) return;
    going = true;
    try {
      await work(...given);
    } catch (fault) {
      announce(notKept(fault), location.hash);
    } finally {
      going = false;
    }
  };
}
