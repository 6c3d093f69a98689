/* Sends what waits. One pass at a time over all tabs; nothing leaves the store before the
   server's word on it is stored. */

import { due, filed, sent, settle, unanswered } from "../pure/outbox.js";
import { backoff } from "../pure/waiting.js";
import { all } from "../store/db.js";
import { change } from "../store/outbox.js";
import { done as filesDone, file } from "../store/photos.js";
import { expire, key, session as stored } from "../store/session.js";
import { Refused, Unreachable, ask, put } from "./api.js";
import { enrol, sign } from "./keys.js";

/** Runs `work` while no other tab does; a browser without locks relies on the ids alone. */
export function alone(work) {
  return navigator.locks ? navigator.locks.request("rackside-send", work) : work();
}

/** Sends until nothing waits. Gives {sent, wait, silent}: how many were answered, the seconds
    to the next try, null when none is needed, and whether no answer came at all. `told` is called after each change. */
export async function pass(told) {
  let done = 0;
  for (;;) {
    const session = await stored();
    if (!session?.token || session.expired) return { sent: done, wait: null };
    const batch = due(await all("outbox"), session.keeper);
    const unknown = (await key())?.state === "pending";
    const failed = batch.length || unknown
      ? await send(session, batch, told) : await sendFiles(session, told);
    if (failed) return { sent: done, ...failed };
    if (!batch.length && !unknown) return { sent: done, wait: null };
    done += batch.length;
  }
}

async function send(session, batch, told) {
  const ids = batch.map((one) => one.id);
  try {
    const held = await enrol(session);
    if (!ids.length) return null;
    const ready = await signed(batch, session, held);
    await change(ids, (records) => records.map((one) => sent(ready.find(({ id }) => id === one.id))));
    told();
    const items = ready.map((one) => item(one, held));
    const answer = await ask("POST", "push", { token: session.token, body: { items } });
    await change(ids, (records) => settle(records, answer.items));
    return null;
  } catch (fault) {
    await change(ids, (records) => records.map((one) => unanswered(one, said(fault))));
    if (fault.status === 401) {
      await expire(session);
      return null;
    }
    return later(fault, batch[0]?.tries ?? 1);
  } finally {
    told();
  }
}

/** When to try again, and whether no answer came. */
function later(fault, tries) {
  return { wait: fault.wait ?? backoff(tries, Math.random()), silent: fault instanceof Unreachable };
}

/** Files of photos whose facts are in, one after the other. Gives null when all are done. */
async function sendFiles(session, told) {
  const due = (await all("outbox")).filter((one) => filed(one) && one.by === session.keeper);
  for (const { id } of due) {
    const kept = await file(id);
    try {
      if (kept) await put(`photos/${id}`, { token: session.token, bytes: kept.bytes, type: "image/jpeg" });
      await filesDone(id, kept ? null : "it is no longer on this phone.");
    } catch (fault) {
      if (fault.status === 401) {
        await expire(session);
        return null;
      }
      if (!lasting(fault)) return later(fault, 1);
      await filesDone(id, fault.message);
    } finally {
      told();
    }
  }
  return null;
}

/** Whether the same file would be refused again. */
const lasting = (fault) => fault.status >= 400 && fault.status < 500 && ![408, 429].includes(fault.status);

/** What was stored under an earlier sign-in is signed anew: a signature names its device. */
async function signed(batch, session, held) {
  return Promise.all(batch.map(async (one) => {
    if (one.device === session.device) return one;
    const sig = held ? await sign(held.pair, one.fact, session.keeper, session.device) : null;
    return { ...one, device: session.device, sig };
  }));
}

function item(record, held) {
  const signs = record.sig && held?.state === "enrolled";
  return signs ? { ...record.fact, sig: record.sig } : record.fact;
}

function said(fault) {
  if (fault.status === 401) return "Sign in again to send it.";
  if (fault instanceof Refused) return `The last try failed: ${fault.message}`;
  return "No connection at the last try.";
}
