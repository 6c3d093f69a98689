/* An animal, or another code of one, put on record from the racks: signed, stored, then sent. */

import { newId } from "../net/keys.js";
import { isTransponder } from "../pure/scanned.js";
import { plain, title } from "../pure/search.js";
import { announce } from "./announcing.js";
import { readingNow } from "./logging.js";
import { OWN } from "./state.js";
import { oneAtATime, record, store } from "./stating.js";

/** Gives a code that was scanned to one of one's own animals. Returns when it is on the disk.
    @param {string} code
    @param {Animal} animal */
export const attach = (code, animal) =>
  stateTogether(title(animal), `#/own/${animal.id}`, animal.id, [marked(code)]);

/** Registers an animal that bears a code that was scanned. Returns when it is on the disk.
    @param {string} code
    @param {{ species: string, collection: string }} as */
export const register = (code, as) =>
  stateTogether(code, "#/own", newId(), [
    { kind: "animal_registered", body: { ...as }, line: "Registered" },
    marked(code),
  ]);

/** @param {string} text */
function marked(text) {
  const scheme = isTransponder(text) ? "transponder" : "tag";
  const code = scheme === "tag" ? text.trim().normalize("NFC") : plain(text);
  const line = `${scheme === "tag" ? "Tag" : "Transponder"} ${code}`;
  return { kind: "identifier_assigned", body: { scheme, code }, line };
}

/** @param {string} title
    @param {string} hash
    @param {string} about
    @param {{ kind: string, body: Fact["body"], line: string }[]} facts */
async function allStated(title, hash, about, facts) {
  const reading = readingNow();
  const at = new Date(reading.here).toISOString();
  const ids = facts.map(() => newId());
  const records = [];
  for (const [place, { kind, body, line }] of facts.entries()) {
    const shown = { visit: OWN.id, title, line };
    const more = { shown, form: null, reading, call: ids[0], place };
    records.push(await record({ id: ids[place], kind, at, about, body }, more));
  }
  await store(records);
  announce(`${title}: saved here.`, hash, { undo: ids });
}

const stateTogether = oneAtATime(allStated);
