/* This phone's Ed25519 key: made in the browser, not extractable, enrolled with the server. */

import { decode64, encode64, fromHex, hex } from "../shared/bytes.js";
import { signable } from "../pure/leaf.js";
import { uuid7 } from "../pure/uuid7.js";
import { keepKey, key } from "../store/session.js";
import { ask, Refused } from "./api.js";
import { lastLook } from "./clock.js";

const NAME = "Ed25519";

export const newId = () => uuid7(Date.now(), crypto.getRandomValues(new Uint8Array(10)));

/** A key with its enrolment ready to be sent, or null where the browser cannot make one.
    @param {string} keeper
    @param {string} device
    @returns {Promise<PhoneKey | null>} */
export async function makeKey(keeper, device) {
  const { offset } = lastLook() ?? { offset: 0 }; // signing in was a look; a wrong clock's time would be refused
  try {
    const pair = await crypto.subtle.generateKey({ name: NAME }, false, ["sign", "verify"]);
    const raw = hex(new Uint8Array(await crypto.subtle.exportKey("raw", pair.publicKey)));
    const fact = {
      id: newId(),
      kind: "device_key_enrolled",
      about: keeper,
      at: new Date(Date.now() + offset * 1000).toISOString(),
      body: { device, key: raw },
    };
    const sig = await sign(pair, fact, keeper, device);
    return { pair, state: "pending", enrolment: { id: fact.id, at: fact.at, key: raw, sig } };
  } catch (fault) {
    const { name } = /** @type {Error} */ (fault);
    if (name === "NotSupportedError" || fault instanceof TypeError) return null;
    throw fault;
  }
}

/** @param {CryptoKeyPair} pair
    @param {Fact} fact
    @param {string} keeper
    @param {string} device */
export async function sign(pair, fact, keeper, device) {
  const signed = signable(fact, keeper, device);
  return encode64(new Uint8Array(await crypto.subtle.sign(NAME, pair.privateKey, signed)));
}

/** Whether the key (hexadecimal) signed the entry. Throws where the browser cannot tell.
    @param {string} publicKey
    @param {OwnEntry} entry */
export async function isSigned(publicKey, entry) {
  try {
    const signed = signable(entry, entry.by ?? "", entry.device ?? "");
    const used = await crypto.subtle.importKey("raw", fromHex(publicKey), NAME, false, ["verify"]);
    return await crypto.subtle.verify(NAME, used, decode64(entry.sig ?? ""), signed);
  } catch (fault) {
    if (/** @type {Error} */ (fault).name === "NotSupportedError") throw fault;
    return false;
  }
}

/** Makes sure the server knows the key before anything signed is sent. A refusal leaves the
    calls unsigned; throws Unreachable or a Refused that may pass.
    @param {Session} session
    @returns {Promise<PhoneKey | null>} */
export async function enrol(session) {
  const held = await key();
  if (held?.state !== "pending") return held ?? null;
  const state = await enrolled(session, held.enrolment);
  const made = { ...held, state };
  await keepKey(session, made);
  return made;
}

/** @param {Session} session
    @param {PhoneKey["enrolment"]} enrolment
    @returns {Promise<PhoneKey["state"]>} */
async function enrolled(session, enrolment) {
  try {
    await ask("POST", `devices/${session.device}/key`, { token: session.token, body: enrolment });
    return "enrolled";
  } catch (fault) {
    const { problem } = /** @type {Fault} */ (fault);
    if (problem?.code === "address_unconfirmed") throw fault; // until it is confirmed
    if (fault instanceof Refused && [400, 403, 404, 409, 422].includes(fault.status)) {
      return "refused";
    }
    throw fault;
  }
}
