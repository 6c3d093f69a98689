/* When to send and when to refresh: after each save, when the signal comes back, on demand. */

import { Refused } from "../net/api.js";
import * as replica from "../net/replica.js";
import { alone, pass } from "../net/sender.js";
import { expire, session as stored } from "../store/session.js";
import { changed, state } from "./state.js";

const NO_SIGNAL = "No signal"; // also where the phone believes that it has one

let timer = null;
let running = null;
let again = false;

/** Sends what waits and refreshes; one run at a time, and one more if asked meanwhile. */
export function sync() {
  again = true;
  running ??= rounds().finally(() => { running = null; });
  return running;
}

async function rounds() {
  while (again) {
    again = false;
    clearTimeout(timer);
    if (!navigator.onLine) return;
    const { wait, silent } = await alone(() => pass(changed));
    if (silent) await amiss(NO_SIGNAL);
    if (wait === null) await refresh();
    else timer = setTimeout(sync, wait * 1000);
  }
}

async function refresh() {
  const session = await stored();
  if (!session?.token || session.expired) return;
  try {
    await replica.refresh(session);
    await amiss("");
  } catch (fault) {
    if (fault.status === 401) await expire(session);
    await amiss(fault instanceof Refused ? fault.message : NO_SIGNAL);
  }
}

/** What the head of every page says is amiss; nothing where all is well. */
async function amiss(what) {
  state.fault = what;
  await changed();
}

export function watch() {
  addEventListener("online", sync);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sync();
  });
}
