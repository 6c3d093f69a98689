/* What waits on one phone, taken over by another of the same keeper. Its ids stay, so that whatever
   of it arrived after all counts once; and as it may be sent from both, neither changes it any more.
   A hatch day that is under way is gone on with by the other; here too only if its keeper says so. */

import { hex, sha256 } from "../shared/bytes.js";
import { takenOver as asTakenOver } from "../pure/edits.js";
import { exported, handedOver, imported } from "../pure/unsent.js";
import { all } from "../store/db.js";
import { carry } from "../store/outbox.js";
import { nameAll, naming } from "../store/people.js";
import { waiting } from "../store/photos.js";
import { change, sittings, takeOver as takeSitting } from "../store/sittings.js";
import { changed, now, state } from "./state.js";
import { record, store, unsigned } from "./stating.js";

/** What is not on record yet, as a file: {name, text}. */
export async function unsentFile() {
  const { keeper } = /** @type {Session} */ (state.session);
  const records = await carry(keeper, Date.now());
  const outbox = await all("outbox");
  const hatchDays = (await sittings(keeper)).flatMap((one) => handedOver(one, outbox) ?? []);
  for (const { sitting } of hatchDays) {
    await change(sitting.id, (held) => ({ ...held, carried: Date.now() }));
  }
  const whose = { server: location.origin, keeper, naming: await naming(), hatchDays };
  const text = JSON.stringify(exported(records, await waiting(), whose), null, 1);
  await changed();
  return { name: `scalewitness-unsent-${new Date(now()).toISOString().slice(0, 10)}.json`, text };
}

/** Takes over what a file holds, signed anew: how many entries, how many were here already, and how
    many hatch days. Throws an Error with a sentence for the keeper; then nothing was taken.
    @param {string} text */
export async function takeOver(text) {
  const { keeper } = /** @type {Session} */ (state.session);
  const found = imported(text, { server: location.origin, keeper });
  const here = new Set(state.outbox.map(({ id }) => id));
  const isNew = (/** @type {{ id: string }} */ { id }) => !here.has(id);
  const items = found.items.filter(isNew);
  const edits = found.edits.filter(isNew);
  const files = await fitting(items, found.photos);
  const known = new Map(found.shown.map(({ id, call, ...shown }) => [id, { call, shown }]));
  const listed = (/** @type {string} */ id) => known.get(id) ?? { call: undefined, shown: UNNAMED };
  const at = Date.now();
  const facts = await Promise.all(items.map((fact, place) => {
    const { call = fact.body.of ?? fact.id, shown } = listed(fact.id);
    const has = files.some(({ id }) => id === fact.id);
    const more = { shown, form: null, reading: null, call, place };
    return record(fact, { ...more, ...(has && { file: "waiting" }) });
  }));
  const records = [
    ...facts,
    ...edits.map((one, place) =>
      unsigned(
        asTakenOver(one, new Date(at).toISOString()),
        listed(one.id).shown,
        at + (items.length + place) / 16,
      )
    ),
  ].map((one) => ({ ...one, carried: at }));
  await nameAll(found.practitioners);
  await store(records, { files });
  let days = 0; // after what was stated of them, which is not stated again then
  for (const { sitting, photos } of found.hatchDays) {
    days += Number(await takeSitting(sitting, photos));
  }
  await changed();
  const held = found.items.length + found.edits.length;
  return { taken: records.length, known: held - records.length, days };
}

/** Where the file does not say what it is listed by, as one made on a page does not. */
const UNNAMED = { visit: "own", title: "An entry", line: "from a file" };

/** The photos of these that are the very files that were noted.
    @param {Fact[]} items
    @param {PhotoFile[]} files */
async function fitting(items, files) {
  const noted = new Map(items.map(({ id, body }) => [id, body.sha256]));
  const hashes = await Promise.all(files.map(({ bytes }) => sha256(new Uint8Array(bytes))));
  return files.filter(({ id }, at) => noted.get(id) === hex(hashes[at]));
}
