// A signed state of the log as a link that one reader sends another: #seen=SIZE.ROOT.SIGNATURE, of the
// log that the page is of. What stands behind # is not sent to the service.

import { decode64, encode64, Refused } from "../shared/bytes.js";
import { readNote } from "./notes.js";

const WORD = "#seen=";

/** What is appended to an address; null for a note with more than a tree, as the link has no place
 * for it.
 * @param {string} text */
export function carried(text) {
  const note = readNote(text);
  const [origin, size, root, ...more] = note.text.trimEnd().split("\n");
  const own = note.lines.find(({ name }) => name === origin);
  if (more.length || !own) return null;
  const line = encode64(new Uint8Array([...own.id, ...own.signature]));
  return WORD + [size, ...[root, line].map(forLink)].join(".");
}

/** The note that an address carries, of the log `origin`; null where it carries none. Throws
 * Refused.
 * @param {string} hash
 * @param {string} origin */
export function carriedNote(hash, origin) {
  if (!hash.startsWith(WORD)) return null;
  const [size, root, line, ...more] = hash.slice(WORD.length).split(".");
  if (line === undefined || more.length) throw new Refused("the link was cut short or changed");
  return `${origin}\n${size}\n${fromLink(root)}\n\n— ${origin} ${fromLink(line)}\n`;
}

/** @param {string} coded */
const forLink = (coded) => coded.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

/** @param {string} text */
function fromLink(text) {
  const plain = text.replaceAll("-", "+").replaceAll("_", "/");
  const coded = plain + "=".repeat((4 - plain.length % 4) % 4);
  decode64(coded);
  return coded;
}
