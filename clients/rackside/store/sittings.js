/* Hatch days under way, in the store. Each change is one transaction on what stands there then, so
   that no other tab's is lost; photos lie beside in `photos` until they go along with a fact. */

import { all, get, write } from "./db.js";

/** Those of a keeper's, the newest first.
    @param {string} keeper */
export const sittings = async (keeper) =>
  (await all("sittings")).filter(({ by }) => by === keeper).sort((a, b) => b.begun - a.begun);

/** @param {string} id
    @param {string} keeper */
export async function sitting(id, keeper) {
  const found = await get("sittings", id);
  return found?.by === keeper ? found : undefined;
}

/** @param {Sitting} made
    @param {string} [draft] the key of the form that it was begun by, which goes */
export const put = (made, draft = "") =>
  write(["sittings", "drafts"], (open) => {
    open.sittings.put(made);
    open.drafts.delete(draft);
  });

/** Takes one over from another phone, with the files of its photos; whether it was not here yet.
    @param {Sitting} made
    @param {PhotoFile[]} files */
export async function takeOver(made, files) {
  let isNew = false;
  await write(["sittings", "photos"], (open) => {
    const asked = open.sittings.get(made.id);
    asked.onsuccess = () => {
      isNew = !asked.result;
      if (!isNew) return;
      open.sittings.put(made);
      files.forEach((one) => open.photos.put(one));
    };
  });
  return isNew;
}

/** Changes one as it stands on the disk now, if it is there, with the photos that come and go by that.
    @param {string} id
    @param {(held: Sitting) => Sitting} step
    @param {{ files?: PhotoFile[], unneeded?: string[] }} [more] */
export function change(id, step, { files = [], unneeded = [] } = {}) {
  return write(["sittings", "photos"], (open) => {
    const asked = open.sittings.get(id);
    asked.onsuccess = () => {
      if (!asked.result) return; // put away in another tab
      open.sittings.put(step(asked.result));
      files.forEach((one) => open.photos.put(one));
      unneeded.forEach((one) => open.photos.delete(one));
    };
  });
}

/** Puts it away with its photos: what was stated stays.
    @param {Sitting} held */
export const drop = ({ id, young }) =>
  write(["sittings", "photos"], (open) => {
    open.sittings.delete(id);
    young.forEach(({ photos }) => photos.forEach(({ file }) => open.photos.delete(file)));
  });
