/* Sends what waits. One pass at a time over all tabs; nothing leaves the store before the
   server's answer about it is stored.

   A batch that the server fails at (500) is split, as the command does: fewer and fewer at a time,
   down to the item at fault, which waits while the others are sent. */

import { BATCH, due, filed, isUnsent, settle, unanswered } from "../pure/outbox.js";
import { isEdit, itemOf } from "../pure/edits.js";
import { backoff, left, pace } from "../pure/waiting.js";
import { all } from "../store/db.js";
import { named, naming } from "../store/people.js";
import { change, claim } from "../store/outbox.js";
import { done as filesDone, file } from "../store/photos.js";
import { forgetAttempts, holdFor, pushedAt, sending } from "../store/sending.js";
import { expire, key, session as stored } from "../store/session.js";
import { ask, put, Refused, Unreachable } from "./api.js";
import { lastLook } from "./clock.js";
import { enrol, sign } from "./keys.js";

const FAULTS = 3; // items failed at one after the other: then it is the server, not the items
const CONTENT = [400, 413, 422, 500]; // answers to a push that may be due to a single item

let failures = 0; // passes that failed, since one went well
let quiet = true; // whether nothing was heard of the server lately: then what was never sent stays its keeper's
let most = BATCH; // items in the next: a pass that must pause goes on with as few as it had come down to
let doubt = false; // whether the last was given up as the server's fault: then one item goes ahead

/** Runs `work` while no other tab does; a browser without locks relies on the ids alone.
    @template T
    @param {() => Promise<T>} work
    @returns {Promise<T>} */
export function alone(work) {
  return navigator.locks ? navigator.locks.request("rackside-send", work) : work();
}

/** Sends until nothing waits. Gives {sent, wait, silent}: how many were answered, the seconds
    to the next try, null when none is needed, and whether no answer came at all. `changed` is called
    after each change; `pressed`: somebody asked for it, so what rests is tried too.
    @param {() => unknown} changed
    @returns {Promise<Stop & { sent: number }>} */
export async function pass(changed, pressed = false) {
  if (pressed) await wakeAll();
  const run = { changed, done: 0, faults: doubt ? FAULTS - 1 : 0 };
  if (doubt) most = 1;
  for (;;) {
    const session = await stored();
    if (!session?.token || session.expired) return { sent: run.done, wait: null };
    const now = Date.now();
    const records = await all("outbox");
    const batch = due(records, session.keeper, { now, most });
    const unknown = (await key())?.state === "pending";
    const { hold, pushes } = await sending();
    const wait = left(hold?.asked && hold, now) || pace(pushes, now);
    if (wait && (batch.length || unknown)) return { sent: run.done, wait };
    const failed = batch.length || unknown
      ? await send(session, batch, run)
      : await sendFiles(session, run);
    if (failed) return { sent: run.done, ...failed };
    if (!batch.length && !unknown) return { sent: run.done, ...await rested(session) };
  }
}

/** Nobody rests any longer. */
async function wakeAll() {
  const resting = (await all("outbox")).filter((one) => one.rest).map(({ id }) => id);
  await change(resting, (records) => records.map((one) => ({ ...one, rest: null })));
}

/** All was tried. When those that rest are due, if any does.
    @param {Session} session */
async function rested(session) {
  const waiting = (await all("outbox")).filter((one) =>
    one.by === session.keeper && one.rest && (isUnsent(one) || filed(one))
  );
  if (waiting.length) {
    return { wait: Math.max(1, Math.min(...waiting.map((one) => left(one.rest, Date.now())))) };
  }
  failures = 0;
  await forgetAttempts();
  return { wait: null };
}

/** @param {Session} session
    @param {Stored[]} batch
    @param {Run} run
    @returns {Promise<Stop | null>} */
async function send(session, batch, run) {
  const ids = batch.map((one) => one.id);
  let held;
  try {
    held = await enrol(session);
    await tellNames(session);
  } catch (fault) {
    return stopped(/** @type {Fault} */ (fault), session, batch, run);
  }
  if (!ids.length) return null;
  try {
    if (quiet) await ask("GET", "keepers/me", { token: session.token });
    quiet = false;
    const going = await claim(await signed(batch, session, held), Date.now());
    if (!going.length) return null; // undone meanwhile
    run.changed();
    await pushedAt(session, Date.now());
    const items = going.map((one) => item(one, held));
    const answer = await ask("POST", "push", { token: session.token, body: { items } });
    if (!Array.isArray(answer.items)) throw new Refused(200, null, null);
    const gone = going.map(({ id }) => id);
    await change(gone, (records) => settle(looked(records), answer.items, gone, rest(batch[0])));
    run.done += gone.length;
    run.faults = 0;
    doubt = false;
    most = Math.min(BATCH, most * 2);
    return null;
  } catch (fault) {
    return await failed(/** @type {Fault} */ (fault), session, batch, run);
  } finally {
    run.changed();
  }
}

/** Names those whose checks are reported, before what is reported of them. Where the server refuses
    a name, so it does what is reported, and says why.
    @param {Session} session */
async function tellNames(session) {
  for (const person of await naming()) {
    try {
      await ask("POST", "practitioners", { token: session.token, body: person });
      await named(session, person, true);
    } catch (fault) {
      if (/** @type {Fault} */ (fault).status !== 422) throw fault;
      await named(session, person, false);
    }
  }
}

/** What a push came to that brought no outcomes: null to go on at once, else when to try again.
    @param {Fault} fault
    @param {Session} session
    @param {Stored[]} batch
    @param {Run} run
    @returns {Promise<Stop | null>} */
async function failed(fault, session, batch, run) {
  const ids = batch.map((one) => one.id);
  const { status = 0, problem } = fault;
  const alone = ids.length === 1 && CONTENT.includes(status);
  if (alone && status < 500 && problem?.code) {
    await change(
      ids,
      (records) => settle(records, [{ status: "refused", problem }], ids),
    );
    return null;
  }
  if (!ids.length || !CONTENT.includes(status)) return stopped(fault, session, batch, run);
  const why = describe(fault) + (alone ? " Nothing else waits for it." : "");
  await change(
    ids,
    (records) => records.map((one) => unanswered(one, why, alone ? rest(one) : null)),
  );
  most = Math.max(1, Math.floor(ids.length / 2));
  run.faults += alone ? 1 : 0;
  doubt = run.faults >= FAULTS;
  return doubt ? later(fault, session) : null;
}

/** Nothing can be sent now, whatever it is.
    @param {Fault} fault
    @param {Session} session
    @param {Stored[]} batch
    @param {Run} run */
async function stopped(fault, session, batch, run) {
  await change(
    batch.map((one) => one.id),
    (records) => records.map((one) => unanswered(one, describe(fault))),
  );
  if (fault.status === 401) await expire(session);
  const stop = fault.status === 401 ? null : await later(fault, session);
  run.changed();
  return stop;
}

/** When to try again, and whether no answer came. What the server asks for is kept.
    @param {Fault} fault
    @param {Session} session
    @returns {Promise<Stop>} */
async function later(fault, session) {
  failures += 1;
  quiet = fault instanceof Unreachable;
  const { wait } = fault;
  const asked = typeof wait === "number";
  const seconds = asked ? wait : backoff(failures + (unconfirmed(fault) ? 3 : 0), Math.random());
  if (asked || unconfirmed(fault)) {
    await holdFor(session, {
      from: Date.now(),
      seconds,
      asked,
      why: fault.message,
      unconfirmed: unconfirmed(fault),
    });
  }
  return { wait: seconds, silent: quiet };
}

/** @param {Fault} fault */
const unconfirmed = (fault) => fault.problem?.code === "address_unconfirmed";

/** For how long one that failed by itself lets the others go.
    @param {Stored} record */
const rest = (record) => ({ from: Date.now(), seconds: backoff(record.tries + 2, Math.random()) });

/** The first look at the clocks after what was noted: by it a reading is put right.
    @param {Stored[]} records */
const looked = (records) =>
  records.map((one) => (one.reading && !one.look ? { ...one, look: lastLook() } : one));

/** Files of photos whose facts are in, one after the other; one that fails rests. Gives null
    when all were tried.
    @param {Session} session
    @param {Run} run
    @returns {Promise<Stop | null>} */
async function sendFiles(session, run) {
  const waits = (/** @type {Stored} */ one) =>
    filed(one) && one.by === session.keeper && !left(one.rest, Date.now());
  for (const record of (await all("outbox")).filter(waits)) {
    const { hold } = await sending();
    const wait = left(hold?.asked && hold, Date.now());
    if (wait) return { wait };
    const stop = await sendFile(record, session);
    run.changed();
    if (stop) return stop;
  }
  return null;
}

/** @param {Stored} record
    @param {Session} session
    @returns {Promise<Stop | null | void>} */
async function sendFile({ id }, session) {
  try {
    const kept = await file(id);
    if (kept) {
      await put(`photos/${id}`, { token: session.token, bytes: kept.bytes, type: "image/jpeg" });
    }
    await filesDone(id, kept ? null : "it is no longer on this phone.");
    return null;
  } catch (caught) {
    const fault = /** @type {Fault} */ (caught);
    if (fault.status === 401) {
      await expire(session);
      return { wait: null };
    }
    if (lasting(fault)) return filesDone(id, fault.message);
    if (fault.status !== 500) return later(fault, session);
    await change(
      [id],
      (records) => records.map((one) => ({ ...one, tries: one.tries + 1, rest: rest(one) })),
    );
    return null;
  }
}

/** Whether the same file would be refused again.
    @param {Fault} fault */
function lasting(fault) {
  const { status = 0 } = fault;
  return status >= 400 && status < 500 && ![408, 429].includes(status) && !unconfirmed(fault);
}

/** What was stored under an earlier sign-in is signed anew: a signature names its device.
    @param {Stored[]} batch
    @param {Session} session
    @param {PhoneKey | null} held */
function signed(batch, session, held) {
  return Promise.all(batch.map(async (one) => {
    if (one.device === session.device || isEdit(one)) return one;
    const sig = held ? await sign(held.pair, one.fact, session.keeper, session.device) : null;
    return { ...one, device: session.device, sig };
  }));
}

/** @param {Stored} record
    @param {PhoneKey | null} held */
function item(record, held) {
  const signs = record.sig && held?.state === "enrolled";
  return signs ? { ...record.fact, sig: record.sig } : itemOf(record);
}

/** @param {Fault} fault */
function describe(fault) {
  if (fault.status === 401) return "Sign in again to send it.";
  if (fault instanceof Refused) return `The last attempt failed: ${fault.message}`;
  return "No connection at the last attempt.";
}
