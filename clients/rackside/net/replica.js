/* What the server lets this keeper see, kept for the racks; what it lists no more is dropped.

   The one place that knows how that is learnt: today by asking for the visits and their sheets
   anew. */

import { write } from "../store/db.js";
import { whileSignedIn } from "../store/session.js";
import { Refused, ask } from "./api.js";

/** Brings the store in line with the server. Throws Unreachable or Refused; then nothing was
    changed. */
export async function refresh(session) {
  const { items } = await ask("GET", "visits", session);
  const visits = items.filter((one) => one.guest.id === session.keeper);
  const sheets = await Promise.all(
    visits.filter((one) => one.state === "open").map((one) => sheet(session, one.id)),
  );
  const rows = sheets.filter(Boolean).flatMap(animals);
  const cautions = new Map(sheets.filter(Boolean).map((one) => [one.visit.id, one.cautions]));
  await replace(session, visits.map((one) => ({ ...one, cautions: cautions.get(one.id) ?? [] })), rows);
}

async function sheet(session, id) {
  try {
    return await ask("GET", `visits/${id}/sheet`, session);
  } catch (fault) {
    if (fault instanceof Refused && [403, 404, 409].includes(fault.status)) return null;
    throw fault;
  }
}

function animals({ visit, animals: rows }) {
  return rows.map((one, n) => ({ ...one, visit: visit.id, key: `${visit.id} ${one.id}`, order: n }));
}

function replace(session, visits, animals) {
  const seen = new Set(animals.map((one) => one.id));
  return write(["visits", "animals", "drafts", "meta"], (open) => whileSignedIn(open.meta, session, () => {
    open.visits.clear();
    open.animals.clear();
    visits.forEach((one) => open.visits.put(one));
    animals.forEach((one) => open.animals.put(one));
    const drafts = open.drafts.getAllKeys();
    drafts.onsuccess = () =>
      drafts.result.filter((id) => !seen.has(id)).forEach((id) => open.drafts.delete(id));
    open.meta.put(Date.now(), "refreshed");
  }));
}
