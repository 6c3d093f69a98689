// Bytes: text, base64 with one spelling per value, hashes. For the receipt check and the phone.

/** What is malformed or does not hold; the message says why, without a full stop. */
export class Refused extends Error {}

/** An answer would be wanted, and did not come; the message says why, as a sentence. */
export class Unreachable extends Error {}

const decoder = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });
const encoder = new TextEncoder();

/** The text of UTF-8 bytes. Throws Refused for any others.
 * @param {Bytes} bytes */
export function textOf(bytes) {
  try {
    return decoder.decode(bytes);
  } catch {
    throw new Refused("it is not UTF-8 text");
  }
}

/** @param {string} text */
export const bytesOf = (text) => encoder.encode(text);

/** Base64 (RFC 4648, section 4).
 * @param {Bytes} bytes */
export function encode64(bytes) {
  let units = ""; // piece by piece: a call takes only so many arguments
  for (let at = 0; at < bytes.length; at += 8192) {
    units += String.fromCharCode(...bytes.subarray(at, at + 8192));
  }
  return btoa(units);
}

/** The bytes. Throws Refused for anything encode64 would not have written.
 * @param {string} text */
export function decode64(text) {
  let units;
  try {
    units = atob(text);
  } catch {
    throw new Refused("not base64");
  }
  const bytes = Uint8Array.from(units, (one) => one.charCodeAt(0));
  if (encode64(bytes) !== text) throw new Refused("base64 in another than its one spelling");
  return bytes;
}

/** @param {Bytes} bytes */
export const hex = (bytes) =>
  Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");

/** @param {string} text */
export const fromHex = (text) =>
  Uint8Array.from(text.match(/../g) ?? [], (two) => parseInt(two, 16));

/** @param {Uint8Array} a
 * @param {Uint8Array} b */
export const equal = (a, b) => a.length === b.length && a.every((one, at) => one === b[at]);

/** @param {Uint8Array[]} parts */
export function joined(...parts) {
  const whole = new Uint8Array(parts.reduce((sum, one) => sum + one.length, 0));
  let at = 0;
  for (const one of parts) {
    whole.set(one, at);
    at += one.length;
  }
  return whole;
}

/** @param {Bytes} bytes */
export const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

/** Of a public key, for people to compare: half its SHA-256 as eight groups of four digits.
 * @param {Bytes} key */
export const fingerprint = async (key) =>
  hex(await sha256(key)).slice(0, 32).match(/..../g)?.join(" ") ?? "";
