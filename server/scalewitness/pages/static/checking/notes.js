// Signed notes and the checkpoints in them (C2SP signed-note, tlog-checkpoint).

import { decode64, equal, Refused, textOf } from "../shared/bytes.js";
import { check, COSIGNATURE_ML_DSA, isKeyName, isOf, label } from "./keys.js";
import { emptyRoot, HASH_BYTES, MAX_SIZE } from "./merkle.js";

const MAX_SIGNATURES = 100;
const MAX_NOTE_BYTES = 1_000_000;
const KEY_ID_BYTES = 4;
const DASH = "— ";
// deno-lint-ignore no-control-regex -- they are what is looked for
const CONTROL = /[\u0000-\u0009\u000b-\u001f]/;

/** A note's parts {text, lines}, nothing verified, from bytes or text.
 * @param {Bytes | string} data */
export function readNote(data) {
  if (data.length > MAX_NOTE_BYTES) throw new Refused("far too long for a note");
  const whole = typeof data === "string" ? data : textOf(data);
  if (CONTROL.test(whole)) throw new Refused("a control character");
  const blank = whole.lastIndexOf("\n\n");
  if (blank < 0 || !whole.endsWith("\n")) {
    throw new Refused("it does not end in whole signature lines");
  }
  const lines = whole.slice(blank + 2).split("\n").slice(0, -1);
  if (!lines.length) throw new Refused("it has no signature lines");
  if (lines.length > MAX_SIGNATURES) throw new Refused("too many signature lines");
  return { text: whole.slice(0, blank + 1), lines: lines.map(readLine) };
}

/** @param {string} line */
function readLine(line) {
  const [name, coded, ...more] = line.slice(DASH.length).split(" ");
  if (!line.startsWith(DASH) || coded === undefined || more.length || !isKeyName(name)) {
    throw new Refused("a signature line reads “— name base64”");
  }
  const data = decode64(coded);
  if (data.length <= KEY_ID_BYTES) throw new Refused("a signature line without a signature");
  return { name, id: data.subarray(0, KEY_ID_BYTES), signature: data.subarray(KEY_ID_BYTES) };
}

/** The note once a trusted key vouches for it: {text, verified, unchecked, unknown}. A trusted
 * key whose line fails sinks it. `unchecked` are lines of trusted keys of a kind that no
 * browser checks yet (ML-DSA); they vouch for nothing here.
 * @param {Note} note
 * @param {VerifierKey[]} trusted */
export async function openNote(note, trusted) {
  if (new Set(trusted.map(label)).size !== trusted.length) {
    throw new Refused("two trusted keys have the same name and ID");
  }
  /** @type {Opening} */
  const opened = { text: note.text, verified: new Map(), unchecked: [], unknown: [] };
  for (const line of note.lines) await openLine(opened, line, trusted);
  if (!opened.verified.size) throw new Refused("no trusted key vouches for it");
  return { ...opened, verified: [...opened.verified.values()] };
}

/** @param {Opening} opened
 * @param {SignatureLine} line
 * @param {VerifierKey[]} trusted */
async function openLine(opened, line, trusted) {
  const key = trusted.find((one) => isOf(one, line));
  if (key === undefined) return void opened.unknown.push(line);
  if (key.type === COSIGNATURE_ML_DSA) return void opened.unchecked.push(line);
  const held = await check(key, opened.text, line.signature);
  if (held === null) throw new Refused(`the signature of ${key.name} does not hold`);
  return void opened.verified.set(label(key), held);
}

/** A checkpoint's body: {origin, size, root}, strictly.
 * @param {string} text */
export async function readBody(text) {
  const lines = text.split("\n");
  if (lines.length < 4 || lines.pop() !== "") {
    throw new Refused("a checkpoint has origin, size and root, each with a newline");
  }
  if (lines.some((one) => !one)) throw new Refused("an empty line");
  const [origin, size, root] = [lines[0], readSize(lines[1]), decode64(lines[2])];
  if (root.length !== HASH_BYTES) throw new Refused("the root is not 32 bytes");
  if ((size === 0n) !== equal(root, await emptyRoot())) {
    throw new Refused("only the empty tree has the empty tree’s root");
  }
  return { origin, size, root };
}

/** A decimal number of 64 bits without leading zeros, as BigInt.
 * @param {string} text */
export function readSize(text) {
  if (!/^(0|[1-9][0-9]{0,19})$/.test(text) || BigInt(text) > MAX_SIZE) {
    throw new Refused("not a decimal number of 64 bits");
  }
  return BigInt(text);
}

/** A checkpoint that the log itself signed, under its own name: {head, opened}.
 * @param {Note} note
 * @param {VerifierKey} log
 * @param {VerifierKey[]} [others] */
export async function openCheckpoint(note, log, others = []) {
  const opened = await openNote(note, [log, ...others]);
  if (!opened.verified.some(({ key }) => key === log)) {
    throw new Refused(`it is not signed by ${log.name}`);
  }
  const head = await readBody(opened.text);
  if (head.origin !== log.name) throw new Refused(`it is of another log, ${head.origin}`);
  return { head, opened };
}
