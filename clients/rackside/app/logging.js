/* A filled-in form becomes facts on this phone: signed, stored, then sent. */

import { newId, sign } from "../net/keys.js";
import { hex } from "../pure/bytes.js";
import { body, grams, line, note } from "../pure/call.js";
import { withNote } from "../pure/leaf.js";
import { aside, needsYou, saved } from "../pure/outbox.js";
import { title } from "../pure/search.js";
import { saveCall } from "../store/outbox.js";
import { changed, state } from "./state.js";
import { sync } from "./sync.js";
import { announce } from "./shell.js";

/** Stores the call, and a weight if one was taken; `refused` is the call it replaces. Returns
    when it is on the disk. */
export async function saveForm(form, { visit, animal, refused }) {
  const at = new Date().toISOString();
  const fact = (kind, made) => ({ id: newId(), kind, at, about: animal.id, body: made });
  const salt = crypto.getRandomValues(new Uint8Array(32));
  const call = await withNote(fact("call_made", body(form, visit.id)), note(form), salt);
  const shown = { visit: visit.id, title: title(animal) };
  const records = [];
  const weighed = grams(form.grams);
  if (weighed) {
    const weight = fact("husbandry_noted", { noted: { type: "weight", grams: weighed } });
    records.push(await record(weight, { ...shown, line: `Weight ${weighed} g` }, null, 0));
  }
  records.push(await record(call, { ...shown, line: line(form) }, structuredClone(form), 1));
  const files = [];
  for (const [number, bytes] of (form.photos ?? []).entries()) {
    const photo = fact("photo_attached", { ...(await fingerprint(bytes)), of: call.id });
    const made = await record(photo, { ...shown, line: `Photo ${number + 1} of the call` }, null, 2 + number);
    records.push({ ...made, file: "waiting" });
    files.push({ id: photo.id, bytes });
  }
  if (refused) records.push(...givenUp(refused).map((one) => aside(one, call.id)));
  await saveCall(records, files, animal.id);
  await changed();
  announce(`${title(animal)}: saved here.`, `#/visit/${visit.id}`);
  sync();
}

/** A refused call, and its photos, which were refused with it: they go along with the new one. */
function givenUp(call) {
  return [call, ...state.outbox.filter((one) => one.fact.body.of === call.id && needsYou(one))];
}

async function fingerprint(bytes) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return { sha256: hex(digest), size: bytes.byteLength };
}

async function record(fact, shown, form, place) {
  const { session, key } = state;
  const sig = key ? await sign(key.pair, fact, session.keeper, session.device) : null;
  return saved(fact, { by: session.keeper, device: session.device, sig, shown, form, order: Date.now() + place / 16 });
}
