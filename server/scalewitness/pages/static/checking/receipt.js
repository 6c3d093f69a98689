// Receipts (C2SP tlog-proof with the entry as its extra line): read, and proved from the log's
// public key alone.

import { decode64, Refused, textOf } from "../shared/bytes.js";
import { readEntry } from "./entry.js";
import { ED25519 } from "./keys.js";
import { HASH_BYTES, leafHash, verifyInclusion } from "./merkle.js";
import { openCheckpoint, readBody, readNote, readSize } from "./notes.js";

export const MAX_RECEIPT_BYTES = 4 * 65_535;
const FIRST_LINE = "c2sp.org/tlog-proof@v1";
const MAX_HASHES = 63;

/** A receipt's parts {entry, position, proof, checkpoint}, nothing verified. Throws Refused
 * with a whole sentence.
 * @param {Bytes} bytes */
export function readReceipt(bytes) {
  if (bytes.length > MAX_RECEIPT_BYTES) {
    throw new Refused("The file is far too long for a receipt.");
  }
  const text = asText(bytes);
  const blank = text.indexOf("\n\n");
  const [first, ...lines] = text.slice(0, Math.max(blank, 0)).split("\n");
  if (first !== FIRST_LINE) {
    throw new Refused("The file is not a receipt: it does not begin as one, or breaks off early.");
  }
  if (!lines[0]?.startsWith("extra ") || !lines[1]?.startsWith("index ")) {
    throw new Refused("The receipt lacks its entry or its position.");
  }
  return {
    entry: part("its entry", () => decode64(lines[0].slice(6))),
    position: part("its position", () => readSize(lines[1].slice(6))),
    proof: part("its proof", () => hashes(lines.slice(2))),
    checkpoint: part("its checkpoint", () => readNote(text.slice(blank + 2))),
  };
}

/** @param {Bytes} bytes */
function asText(bytes) {
  try {
    return textOf(bytes);
  } catch {
    throw new Refused("The file is not text, so it is no receipt.");
  }
}

/** @template T
 * @param {string} name
 * @param {() => T} read
 * @returns {T} */
function part(name, read) {
  try {
    return read();
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    throw new Refused(`The receipt is damaged, in ${name}: ${fault.message}.`);
  }
}

/** @param {string[]} lines */
function hashes(lines) {
  const found = lines.map(decode64);
  if (found.length > MAX_HASHES || found.some((one) => one.length !== HASH_BYTES)) {
    throw new Refused("no list of hashes");
  }
  return found;
}

/** What a receipt shows, checked against one key of the log. Throws Refused with a sentence.
 * @param {Receipt} receipt
 * @param {VerifierKey} log
 * @param {VerifierKey[]} [cosigners] */
export async function prove(receipt, log, cosigners = []) {
  const { head, opened } = await signedHead(receipt.checkpoint, log, cosigners);
  const included = await verifyInclusion({
    leaf: await leafHash(receipt.entry),
    index: receipt.position,
    size: head.size,
    proof: receipt.proof,
    root: head.root,
  });
  if (!included) {
    throw new Refused(
      "The entry is not in the log that was signed: it, its position or its proof was altered.",
    );
  }
  return { entry: entryIn(receipt), position: receipt.position, head, opened, log };
}

/** @param {Note} checkpoint
 * @param {VerifierKey} log
 * @param {VerifierKey[]} cosigners */
async function signedHead(checkpoint, log, cosigners) {
  try {
    return await openCheckpoint(checkpoint, log, cosigners);
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    throw new Refused(`The checkpoint cannot be relied on: ${fault.message}.`);
  }
}

/** @param {Receipt} receipt */
function entryIn(receipt) {
  try {
    return readEntry(receipt.entry);
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    throw new Refused(`The log holds these bytes, but they are not an entry: ${fault.message}.`);
  }
}

/** The log the receipt says it is from, unverified. Throws Refused with a sentence.
 * @param {Receipt} receipt */
async function claimedOrigin(receipt) {
  try {
    return (await readBody(receipt.checkpoint.text)).origin;
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    throw new Refused(`The receipt is damaged, in its checkpoint: ${fault.message}.`);
  }
}

/** The verdict on a file: {holds: true, proven, logs, elsewhere}, {holds: false, why}, or
 * {holds: null, why} where a key is missing. `given` are keys the reader brought, `site` those
 * of this page, which speak for the log only where the reader brought none.
 * @param {Bytes} bytes
 * @param {VerifierKey[]} given
 * @param {VerifierKey[]} site
 * @returns {Promise<Judged>} */
export async function judge(bytes, given, site) {
  try {
    const receipt = readReceipt(bytes);
    const origin = await claimedOrigin(receipt);
    const brought = logKeys(given, origin);
    const logs = brought.length ? brought : logKeys(site, origin);
    if (!logs.length) return { holds: null, why: noKey(origin) };
    const cosigners = given.filter((one) => one.type !== ED25519);
    const proven = await provedByAny(receipt, logs, cosigners);
    return { holds: true, proven, logs, elsewhere: brought.length > 0 };
  } catch (fault) {
    if (!(fault instanceof Refused)) throw fault;
    return { holds: false, why: fault.message };
  }
}

/** @param {VerifierKey[]} keys
 * @param {string} origin */
const logKeys = (keys, origin) => keys.filter((one) => one.type === ED25519 && one.name === origin);

/** By the first of the log's keys that signed it; else the first one's refusal.
 * @param {Receipt} receipt
 * @param {VerifierKey[]} logs
 * @param {VerifierKey[]} cosigners */
async function provedByAny(receipt, logs, cosigners) {
  let refusal;
  for (const log of logs) {
    try {
      return await prove(receipt, log, cosigners);
    } catch (fault) {
      if (!(fault instanceof Refused)) throw fault;
      refusal ??= fault;
    }
  }
  throw refusal;
}

/** @param {string} origin */
function noKey(origin) {
  return `It says it is from the log “${origin}”, whose public key is not known here. Get that key from somebody you trust and paste it below.`;
}
