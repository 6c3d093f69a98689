// What an answer of proofs states (server/MAP.md): read, and held to the checkpoint in it.

import { decode64, fromHex, hex, Refused } from "../shared/bytes.js";
import { readEntry } from "./entry.js";
import { HASH_BYTES, leafHash, verifyInclusion } from "./merkle.js";
import { openCheckpoint, readNote } from "./notes.js";
import { requireWhole } from "./record_map.js";
import { isCertified, readVrfKey } from "./vrf.js";

const KIND = "map_root";

/** The signed tree and, as its last entry states them, the map's root and the hash of its key.
 * `logs`: keys that may speak for the log. Where the map is not in the tree that was signed, `why`
 * says so; what hangs on it is then the service's word, and may still help to name what was
 * altered. Throws Refused with a clause.
 * @param {any} answer
 * @param {VerifierKey[]} logs
 * @returns {Promise<StatedMap>} */
export async function mapIn(answer, logs) {
  return await shaped(async () => {
    const { head, by } = await signedBy(logs, readNote(answer.checkpoint));
    const entry = decode64(answer.map.entry);
    const leaf = readEntry(entry);
    if (leaf.kind !== KIND || leaf.by !== null) {
      throw new Refused("the tree that was signed does not end with the map");
    }
    const why = await endsWith(head, entry, answer.map)
      ? null
      : "the map it is proved by is not in the tree that was signed";
    return {
      head,
      by,
      note: answer.checkpoint,
      received: leaf.received ?? null,
      root: hashIn(leaf.body.root),
      key: leaf.body.key,
      why,
    };
  });
}

/** @param {Head} head
 * @param {Bytes} entry
 * @param {any} map */
async function endsWith(head, entry, { position, proof }) {
  return BigInt(position) === head.size - 1n && await verifyInclusion({
    leaf: await leafHash(entry),
    index: head.size - 1n,
    size: head.size,
    proof: proof.map(decode64),
    root: head.root,
  });
}

/** @param {VerifierKey[]} logs
 * @param {Note} note */
async function signedBy(logs, note) {
  /** @type {Refused | undefined} */
  let refusal;
  for (const log of logs) {
    try {
      return { head: (await openCheckpoint(note, log)).head, by: log };
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      refusal ??= fault;
    }
  }
  throw refusal ?? new Refused("no key of the log is known");
}

/** @param {unknown} text */
function hashIn(text) {
  if (typeof text !== "string" || !/^[0-9a-f]{64}$/.test(text)) throw new Refused("no hash");
  return fromHex(text);
}

/** The map's key, if it is the one stated and shown to be good. Throws Refused with a clause.
 * @param {any} shown
 * @param {string} stated */
export async function certifiedKey(shown, stated) {
  return await shaped(async () => {
    const key = await readVrfKey(decode64(shown.modulus));
    const good = hex(key.hash) === stated && await isCertified(key, shown.roots.map(decode64));
    if (!good) throw new Refused("the key that the map is made with is not good");
    return key;
  });
}

/** What an answer shows about one subject: its entries by position, those hidden, and why that is
 * not all there is, null where it is. `given`: entries that came another way.
 * @param {any} proof
 * @param {StatedMap} stated
 * @param {VrfKey} key
 * @param {{ position: number, entry: Bytes }[]} [given]
 * @returns {Promise<RecordFound>} */
export async function recordIn(proof, stated, key, given) {
  /** @type {RecordFound} */
  const found = {
    subject: String(proof?.id),
    entries: new Map(),
    hidden: [],
    why: null,
  };
  try {
    await shaped(() => fill(found, proof, stated, key, given));
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    found.why = fault.message;
  }
  return found;
}

/** @param {RecordFound} found
 * @param {any} proof
 * @param {StatedMap} stated
 * @param {VrfKey} key
 * @param {{ position: number, entry: Bytes }[]} [given] */
async function fill(found, proof, stated, key, given) {
  const size = Number(stated.head.size);
  const read = given ?? /** @type {any[]} */ (proof.entries)
    .map((one) => ({ position: one.position, entry: decode64(one.entry) }));
  const shown = read.filter(({ position }) => position < size);
  const links = await Promise.all(
    shown.map(async ({ position, entry }) => ({ position, hash: await leafHash(entry) })),
  );
  found.hidden = proof.hidden.map((/** @type {any} */ one) => hiddenLink(one));
  for (const { position, entry } of shown) {
    try {
      found.entries.set(position, readEntry(entry));
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault; // its hash will not fit; the others are read
    }
  }
  await requireWhole(found.subject, links, openingIn(proof, found.hidden), stated.root, key);
  const sound = [...found.entries.values()].every(({ about }) => about === found.subject);
  if (!sound || found.entries.size !== shown.length) {
    throw new Refused("an entry is no entry of it");
  }
}

/** @param {any} one
 * @returns {Link} */
function hiddenLink(one) {
  const hash = decode64(one.hash);
  if (hash.length !== HASH_BYTES) throw new Refused("no hash");
  return { position: one.position, hash };
}

/** @param {any} proof
 * @param {Link[]} hidden
 * @returns {MapOpening} */
function openingIn(proof, hidden) {
  return {
    count: proof.count,
    nonce: decode64(proof.nonce),
    pathProof: decode64(proof.path_proof),
    siblings: proof.siblings.map((/** @type {string} */ one) =>
      one ? decode64(one) : new Uint8Array(HASH_BYTES)
    ),
    hidden,
  };
}

/** Answers come from strangers: whatever has another shape is refused like what does not hold.
 * @template T
 * @param {() => Promise<T>} work */
async function shaped(work) {
  try {
    return await work();
  } catch (fault) {
    if (fault instanceof TypeError || fault instanceof RangeError || fault instanceof SyntaxError) {
      throw new Refused("the answer is not of the form of a proof");
    }
    throw fault;
  }
}
