/* Signing in and out. */

import { ask, Refused, Unreachable } from "../net/api.js";
import { makeKey } from "../net/keys.js";
import { notStated } from "../pure/hatch.js";
import { isOwed } from "../pure/outbox.js";
import { forget } from "../store/db.js";
import { begin } from "../store/session.js";
import { clearedHere, forgetMarker } from "./cleared.js";
import { changed, state } from "./state.js";
import { rest } from "./listening.js";
import { sync } from "./sync.js";

const GRANT = "urn:ietf:params:oauth:grant-type:device_code";

/** Signs in on this phone; `code`, where given, is of a second factor. Throws an Error with a
    sentence for the keeper.
    @param {string} email
    @param {string} password
    @param {string} name
    @param {string} code */
export async function signIn(email, password, name, code) {
  const body = { email, password, name, ...(code && { code }) };
  await become(await ask("POST", "devices", { body }));
}

/** Asks for approval on a page of the site, which its keeper opens (RFC 8628): `show` is given
    the page's address and the code to type there. Ends when it was confirmed, or by an Error.
    @param {string} name
    @param {(page: string, code: string) => void} show */
export async function signInByPage(name, show) {
  const begun = await ask("POST", "devices/authorization", { body: { name } });
  show(begun.verification_uri, begun.user_code);
  let wait = begun.interval;
  for (let left = begun.expires_in; left > 0; left -= wait) {
    await new Promise((done) => setTimeout(done, wait * 1000));
    try {
      const body = { grant_type: GRANT, device_code: begun.device_code };
      return await become(await ask("POST", "devices/token", { body }));
    } catch (fault) {
      wait += slower(/** @type {Fault} */ (fault));
    }
  }
  throw new Error("Nobody confirmed it in time. Begin again.");
}

/** Seconds more to wait between questions; any other refusal ends the asking.
    @param {Fault} fault */
function slower(fault) {
  if (fault instanceof Unreachable || fault.problem?.code === "slow_down") return 5;
  if (fault.status === 429) return fault.wait ?? 5;
  if (fault.problem?.code === "authorization_pending") return 0;
  throw fault;
}

/** Makes this the device that the server made, with a key of its own. What waits here stays its
    keeper's: somebody else cannot sign in over it.
    @param {{ id: string, token: string }} device */
async function become(device) {
  const me = await ask("GET", "keepers/me", { token: device.token });
  const isOthers = (/** @type {{ by: string }} */ { by }) => by !== me.id;
  const isFree = (/** @type {Stored[]} */ outbox, /** @type {Sitting[]} */ sittings) =>
    !outbox.some((one) => isOwed(one) && isOthers(one)) &&
    !notStated(sittings.filter(isOthers), outbox).length;
  const was = state.session ? null : clearedHere();
  const session = {
    keeper: me.id,
    name: me.name,
    email: me.email,
    device: device.id,
    token: device.token,
  };
  const key = await makeKey(me.id, device.id);
  if (!(await begin({ session, key, ...(was && { cleared: was }) }, isFree))) {
    await drop(device.id, device.token);
    throw new Error(
      "Calls of somebody else wait on this phone. They must be sent or exported first.",
    );
  }
  navigator.storage?.persist?.().catch(() => false); // Firefox asks its user, and answers after that
  await changed();
  await sync();
}

/** Signs out and forgets everything here, also what was not sent. */
export async function signOut() {
  const { session } = state;
  rest();
  await forget();
  await changed();
  forgetMarker(); // not before: what was being read meanwhile may have set it again
  if (session?.token) await drop(session.device, session.token);
}

/** The server forgets the device too, if it can be reached; the token is gone here anyway.
    @param {string} id
    @param {string} token */
async function drop(id, token) {
  try {
    await ask("DELETE", `devices/${id}`, { token });
  } catch (fault) {
    if (!(fault instanceof Refused || fault instanceof Unreachable)) throw fault;
  }
}
