/* What was stated of one's own animals, in `facts`, as the feed brought it: of those in collections
   that one keeps or is a partner in, and sees whole. Of an animal that its keeper is to check blind,
   in whatever role, there is nothing; it goes in the transaction in which that comes.

   `collections` in `meta`: their ids, each with the fetching from the beginning that brought it. */

import { TOLD } from "../pure/told.js";
import { get, of, write } from "./db.js";

/** What is kept of one animal, in the log's order.
    @param {string} animal */
export async function factsOf(animal) {
  return (await of("facts", animal)).sort((a, b) => a.position - b.position);
}

/** As `factsOf`, of an animal of one's own; null of any other, of which nothing is kept.
    @param {KeptAnimal} animal */
export async function factsKept(animal) {
  const kept = await get("meta", "collections");
  return isKept(animal, kept ?? {}) ? await factsOf(animal.id) : null;
}

/** Keeps a small picture with the photo that it is of, for as long as that is kept.
    @param {string} photo
    @param {ArrayBuffer} small */
export function keepSmall(photo, small) {
  return write(["facts"], ({ facts }) => {
    const asked = facts.get(photo);
    asked.onsuccess = () => {
      if (asked.result) facts.put({ ...asked.result, small });
    };
  });
}

/** With a transaction over `animals`, `facts` and `meta`, in which the animals of the page were
    stored before: what a page of the feed brought in place of what it takes back.
    @param {OpenStores} open
    @param {Page["items"]} items
    @param {Feed} feed
    @param {boolean} ended whether everything has come anew by now */
export function takeFacts(open, items, feed, ended) {
  const brought = byAnimal(items);
  collected(open, items, feed, ended, (kept, left) => {
    brought.forEach((one, animal) => {
      const asked = open.animals.get(animal);
      asked.onsuccess = () => {
        if (isKept(asked.result, kept)) replace(open, animal, one);
        else drop(open, animal);
      };
    });
    if (left.size) leave(open, left);
  });
}

/** What is kept of an animal goes with it.
    @param {OpenStores} open
    @param {string} animal */
export const drop = (open, animal) => replace(open, animal, { anew: true, facts: [] });

/** @param {KeptAnimal | undefined} animal
    @param {Record<string, number>} kept */
const isKept = (animal, kept) => animal?.sight === "all" && (animal.collection?.id ?? "") in kept;

/** @typedef {{ anew: boolean, facts: KeptFact[] }} Brought `anew`: in place of what is kept */

/** What a page brings, by the animal: a snapshot and a purge are in place of all before.
    @param {Page["items"]} items */
function byAnimal(items) {
  /** @type {Map<string, Brought>} */
  const found = new Map();
  const before = (/** @type {string} */ animal) =>
    found.get(animal) ?? { anew: false, facts: /** @type {KeptFact[]} */ ([]) };
  for (const item of items) {
    const { type, entry } = item;
    if (type === "fact") {
      const { anew, facts } = before(entry.about);
      if (entry.about) found.set(entry.about, { anew, facts: [...facts, ...told([item])] });
    } else if (type === "snapshot") {
      found.set(item.animal.id, { anew: true, facts: told(item.facts ?? []) });
    } else if (type === "purge" && item.animal) found.set(item.animal, { anew: true, facts: [] });
    else if (type === "animal") found.set(item.animal.id, before(item.animal.id));
  }
  return found;
}

/** @param {FedItem[]} facts
    @returns {KeptFact[]} */
const told = (facts) =>
  facts.filter(({ entry }) => TOLD.includes(entry.kind)).map((one) => ({
    id: one.entry.id,
    about: one.entry.about,
    position: one.position,
    by: one.by_name ?? null,
    texts: one.texts ?? {},
    salts: one.salts ?? {},
    entry: one.entry,
  }));

/** Those that go are told before those that come are put: the store takes them in that order.
    @param {OpenStores} open
    @param {string} animal
    @param {Brought} brought */
function replace({ facts }, animal, { anew, facts: made }) {
  const stay = new Set(made.map(({ id }) => id));
  if (anew) {
    const asked = facts.index("about").getAllKeys(animal);
    asked.onsuccess = () =>
      asked.result.filter((id) => !stay.has(String(id))).forEach((id) => facts.delete(id));
  }
  made.forEach((one) => facts.put(one));
}

/** Enters which collections one keeps or shares; `work` is given them, and those that are so no more.
    @param {OpenStores} open
    @param {Page["items"]} items
    @param {Feed} feed
    @param {boolean} ended
    @param {(kept: Record<string, number>, left: Set<string>) => void} work */
function collected({ meta }, items, { pull }, ended, work) {
  const asked = meta.get("collections");
  asked.onsuccess = () => {
    /** @type {Record<string, number>} */
    const kept = { ...asked.result };
    for (const { type, collection } of items) {
      if (type === "collection" && collection.role !== "viewer") kept[collection.id] = pull;
      else if (type === "collection") delete kept[collection.id];
      else if (type === "purge" && collection) delete kept[collection];
    }
    if (ended) {
      Object.keys(kept).filter((id) => kept[id] < pull).forEach((id) => delete kept[id]);
    }
    const left = new Set(Object.keys(asked.result ?? {}).filter((id) => !(id in kept)));
    meta.put(kept, "collections");
    work(kept, left);
  };
}

/** What one may still see of a collection's animals is kept no longer.
    @param {OpenStores} open
    @param {Set<string>} left */
function leave(open, left) {
  /** @type {IDBRequest<KeptAnimal[]>} */
  const asked = open.animals.getAll();
  asked.onsuccess = () =>
    asked.result
      .filter(({ collection }) => left.has(collection?.id ?? ""))
      .forEach(({ id }) => drop(open, id));
}
