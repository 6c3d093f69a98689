/* Asks for proofs that records are whole, and reads what they state. */

import { readVerifier } from "../checking/keys.js";
import { mapIn } from "../checking/stated.js";
import { keyOf } from "../checking/whole.js";
import { known } from "../store/log.js";
import { mapKey } from "../store/proved.js";
import { ask } from "./api.js";

/** The proofs of these animals; null where the server says itself that it cannot give them.
    @param {Session} session
    @param {AbortSignal} signal
    @param {string[]} ids */
export async function answerOf({ token }, signal, ids) {
  try {
    return await ask("GET", `proofs?entries=yes&animals=${ids.join(",")}`, { token, signal });
  } catch (fault) {
    if (/** @type {Fault} */ (fault).problem?.code === "log_contradicted") return null;
    throw fault;
  }
}

/** The map as the answer's signed tree states it, and its key; `kept`: to be kept from now on.
    @param {any} answer
    @param {AbortSignal} signal */
export async function statedIn(answer, signal) {
  const log = /** @type {KnownLog} */ (await known());
  const stated = await mapIn(answer, [await readVerifier(log.key)]);
  const before = await mapKey();
  /** @type {unknown} */ let certified = null;
  /** @type {MapKey | null} */ let kept = null;
  const key = await keyOf(stated, {
    mapKey: () => before?.modulus ?? null,
    keepMapKey: (_, modulus) => {
      kept = { modulus, certified };
    },
  }, { mapKey: async () => certified = await ask("GET", "log/map-key", { signal }) });
  return { stated, key, kept };
}
