/* Signing in and out. */

import { ask, Refused, Unreachable } from "../net/api.js";
import { makeKey } from "../net/keys.js";
import { isUnsent } from "../pure/outbox.js";
import { forget } from "../store/db.js";
import { keep } from "../store/session.js";
import { changed, state } from "./state.js";
import { rest } from "./listening.js";
import { sync } from "./sync.js";

/** Signs in on this phone and makes its key. What waits here stays its keeper's: somebody else
    cannot sign in over it. Throws an Error with a sentence for the keeper. */
export async function signIn(email, password, name) {
  const device = await ask("POST", "devices", { body: { email, password, name } });
  const me = await ask("GET", "keepers/me", { token: device.token });
  const other = state.outbox.find((one) => isUnsent(one) && one.by !== me.id);
  if (other) {
    await drop(device.id, device.token);
    throw new Error("Calls of somebody else wait on this phone. They must be sent first.");
  }
  if (state.session && state.session.keeper !== me.id) await forget();
  const key = await makeKey(me.id, device.id);
  await keep({
    session: { keeper: me.id, name: me.name, email, device: device.id, token: device.token },
    key,
  });
  await navigator.storage?.persist?.().catch(() => false);
  await changed();
  await sync();
}

/** Signs out and forgets everything here, also what was not sent. */
export async function signOut() {
  const { session } = state;
  rest();
  await forget();
  if (session?.token) await drop(session.device, session.token);
  await changed();
}

/** The server forgets the device too, if it can be reached; the token is gone here anyway. */
async function drop(id, token) {
  try {
    await ask("DELETE", `devices/${id}`, { token });
  } catch (fault) {
    if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
  }
}
