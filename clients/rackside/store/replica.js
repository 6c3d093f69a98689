/* What the feed brought, in the store: animals by id, and where to go on from.

   `feed` in `meta`: {cursor, pull, anew}. `pull` counts how often everything was fetched from the
   beginning; `anew` while that is under way. A page and its cursor are stored together. */

import { listed, without, withSheet } from "../pure/visits.js";
import { get, write } from "./db.js";
import { dropClutches } from "./drafts.js";
import { drop, takeFacts } from "./facts.js";
import { note } from "./own_word.js";
import { whileSignedIn } from "./session.js";

/** @type {Feed} */
const BEGINNING = { cursor: null, pull: 0, anew: false };

export const feed = async () => (await get("meta", "feed")) ?? BEGINNING;

/** Takes in a page that was asked for from the cursor `from`. One that another tab has gone
    beyond is dropped: it could bring back what is to be forgotten.
    @param {Session} session
    @param {Feed["cursor"]} from
    @param {Page} page */
export function take(session, from, page) {
  return revise(session, (open, held) => {
    if (held.cursor !== from) return;
    page.items.forEach((one) => {
      takeItem(open, one, held.pull);
      note(open, session, one);
    });
    leaveSheets(
      open,
      page.items.filter(({ type }) => type === "purge").map(({ animal }) => animal),
    );
    const ended = held.anew && !page.more;
    if (ended) forgetBefore(open, held.pull);
    takeFacts(open, page.items, held, ended);
    open.meta.put({ ...held, cursor: page.cursor, anew: held.anew && page.more }, "feed");
  });
}

/** The server cannot go on from the cursor `from`. What is here can be read until everything has
    come anew; then what did not come again is forgotten.
    @param {Session} session
    @param {Feed["cursor"]} from */
export function beginAgain(session, from) {
  return revise(session, (open, held) => {
    if (held.cursor === from) {
      open.meta.put({ cursor: null, pull: held.pull + 1, anew: true }, "feed");
    }
  });
}

/** The visits in place of those before; what is kept of their sheets stays till `takeSheet`.
    @param {Session} session
    @param {Visit[]} visits */
export function takeVisits(session, visits) {
  return write(["visits", "drafts", "meta"], (open) =>
    whileSignedIn(open.meta, session, () => {
      const asked = open.visits.getAll();
      asked.onsuccess = () => {
        const kept = new Map(asked.result.map((one) => [one.id, one]));
        open.visits.clear();
        visits.forEach((one) => open.visits.put(listed(one, kept.get(one.id))));
        dropDrafts(open);
      };
    }));
}

/** A visit's sheet; null where there is none any more. Whether it differs from what was kept.
    @param {Session} session
    @param {string} id
    @param {Sheet | null} sheet */
export async function takeSheet(session, id, sheet) {
  let differs = false;
  await write(["visits", "drafts", "meta"], (open) =>
    whileSignedIn(open.meta, session, () => {
      const asked = open.visits.get(id);
      asked.onsuccess = () => {
        if (!asked.result) return; // called off in another tab's eyes
        const made = withSheet(asked.result, sheet);
        differs = JSON.stringify(made) !== JSON.stringify(asked.result);
        open.visits.put(made);
        dropDrafts(open);
      };
    }));
  return differs;
}

/** Of animals that are on no sheet any more, not held off meanwhile either, and not one's own. One
    whose sheet is still to come drops none.
    @param {OpenStores} open */
function dropDrafts(open) {
  /** @type {IDBRequest<KeptVisit[]>} */
  const asked = open.visits.getAll();
  asked.onsuccess = () => {
    if (asked.result.some(({ rows }) => rows === null)) return;
    /** @type {Set<IDBValidKey>} */
    const seen = new Set(
      asked.result.flatMap(({ rows, held }) => [
        ...(rows ?? []).map(({ animal }) => animal),
        ...(held?.animals ?? []),
      ]),
    );
    const drafts = open.drafts.getAll();
    drafts.onsuccess = () =>
      /** @type {Draft[]} */ (drafts.result)
        .filter(({ animal, visit }) => visit !== "own" && !seen.has(animal))
        .forEach(({ animal }) => open.drafts.delete(animal));
  };
}

/** The server was asked at this moment, milliseconds, and everything it said is here.
    @param {Session} session
    @param {number} at */
export function refreshed(session, at) {
  return write(
    ["meta"],
    ({ meta }) => whileSignedIn(meta, session, () => meta.put(at, "refreshed")),
  );
}

/** @param {Session} session
    @param {(open: OpenStores, held: Feed) => void} work */
function revise(session, work) {
  return write(
    ["animals", "drafts", "facts", "meta", "named", "proved", "visits"],
    (open) =>
      whileSignedIn(open.meta, session, () => {
        const asked = open.meta.get("feed");
        asked.onsuccess = () => work(open, asked.result ?? BEGINNING);
      }),
  );
}

/** What a later server sends besides is left alone.
    @param {OpenStores} open
    @param {Page["items"][number]} item
    @param {number} pull */
function takeItem(open, item, pull) {
  if (item.type === "purge" && item.animal) forget(open, item.animal);
  else if (item.animal) {
    open.animals.put({ ...item.animal, pull });
    if (item.animal.sight !== "all") {
      open.proved.delete(item.animal.id);
      dropClutches(open.drafts, item.animal.id);
    }
  }
}

/** @param {OpenStores} open
    @param {number} pull */
function forgetBefore(open, pull) {
  const asked = open.animals.getAll();
  asked.onsuccess = () => {
    const gone = asked.result.filter((one) => one.pull < pull).map(({ id }) => id);
    gone.forEach((id) => forget(open, id));
    leaveSheets(open, gone);
  };
}

/** @param {OpenStores} open
    @param {string} animal */
function forget(open, animal) {
  open.animals.delete(animal);
  open.proved.delete(animal);
  open.drafts.delete(animal);
  dropClutches(open.drafts, animal);
  drop(open, animal);
}

/** What a sheet was handed over with goes when its animal does.
    @param {OpenStores} open
    @param {string[]} animals */
function leaveSheets(open, animals) {
  if (!animals.length) return;
  const gone = new Set(animals);
  const asked = open.visits.getAll();
  asked.onsuccess = () => asked.result.forEach((one) => open.visits.put(without(one, gone)));
}
