/* When to send: after each save, when the signal comes back, on demand. */

import { alone, pass } from "../net/sender.js";
import { listen, rest } from "./listening.js";
import { NO_SIGNAL, amiss, changed } from "./state.js";

let timer = null;
let running = null;
let again = false;

/** Sends what waits, one run at a time, and one more if asked meanwhile; and listens. */
export function sync() {
  again = true;
  listen();
  running ??= rounds().finally(() => { running = null; });
  return running;
}

async function rounds() {
  while (again) {
    again = false;
    clearTimeout(timer);
    if (!navigator.onLine) return;
    const { sent, wait, silent } = await alone(() => pass(changed));
    if (silent) await amiss(NO_SIGNAL);
    else if (sent) await amiss("");
    if (wait !== null) timer = setTimeout(sync, wait * 1000);
  }
}

export function watch() {
  addEventListener("online", () => { rest(); sync(); });
  addEventListener("offline", rest);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sync();
    else rest();
  });
}
