/* Facts in this keeper's own name, in `named`: those about keys, those not judged yet (`why` null)
   and those in doubt. What a trusted key signed is not kept; if it comes again it is judged again.
   `trusted` in `meta`: keys, hexadecimal, that the keeper said are theirs. */

import { OF_KEYS } from "../pure/own_word.js";
import { isNoted } from "../pure/last_had.js";
import { get, write } from "./db.js";
import { whileSignedIn, whileSomebody } from "./session.js";

export const trusted = async () => (await get("meta", "trusted")) ?? [];

/** With a transaction over `named` and `meta`: keeps what a page of the feed brought in the keeper's
    name, and which of it came last.
    @param {OpenStores} open
    @param {Session} session
    @param {Page["items"][number]} item */
export function note(open, session, item) {
  const facts = item.type === "fact" ? [item] : item.facts ?? [];
  for (const { entry, position } of facts) {
    if (entry?.by !== session.keeper) continue;
    if (isNoted(entry.kind)) noteLatest(open, entry, position);
    const asked = open.named.get(entry.id);
    asked.onsuccess = () => {
      const made = { id: entry.id, position, entry, why: null, answer: null };
      if (!isSame(asked.result, made)) open.named.put(made);
    };
  }
}

/** @param {OpenStores} open
    @param {OwnEntry} entry
    @param {number} position */
function noteLatest({ meta }, { kind, at }, position) {
  const asked = meta.get("latest");
  asked.onsuccess = () => {
    if (!(asked.result?.position >= position)) meta.put({ kind, at, position }, "latest");
  };
}

/** @param {InMyName | undefined} kept
    @param {InMyName} made */
const isSame = (kept, made) =>
  kept?.position === made.position && JSON.stringify(kept.entry) === JSON.stringify(made.entry);

/** What came of judging facts, each with its doubt, "" for none.
    @param {Session} session
    @param {InMyName[]} facts
    @param {string[]} doubts */
export function settle(session, facts, doubts) {
  return write(
    ["named", "meta"],
    (open) =>
      whileSignedIn(open.meta, session, () =>
        facts.forEach((one, at) => {
          if (doubts[at] || OF_KEYS.includes(one.entry.kind)) {
            open.named.put({ ...one, why: doubts[at] });
          } else open.named.delete(one.id);
        })),
  );
}

/** What the keeper whose name they are in says of facts; `keys`: those that are trusted by it from
    now on.
    @param {InMyName[]} facts
    @param {"mine" | "not mine"} answer
    @param {string[]} keys */
export function answered(facts, answer, keys) {
  return write(["named", "meta"], (open) =>
    whileSomebody(open.meta, ({ keeper }) => {
      if (facts.some(({ entry }) => entry.by !== keeper)) return;
      facts.forEach((one) => open.named.put({ ...one, answer }));
      const asked = open.meta.get("trusted");
      asked.onsuccess = () =>
        open.meta.put([...new Set([...(asked.result ?? []), ...keys])], "trusted");
    }));
}
