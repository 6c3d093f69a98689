/* What the server lets this keeper see, kept for the racks: animals from the feed of changes,
   then visits and their sheets. What the feed takes back is gone from the phone. */

import { isHanded } from "../pure/visits.js";
import { beginAgain, feed, take, takeSheet, takeVisits } from "../store/replica.js";
import { kept } from "../pure/season.js";
import { takePeople, takeSeason } from "../store/people.js";
import { ask, Refused } from "./api.js";

const PAGE = 500; // items

/** Reads the feed to its end; whether anything came. `wait`: seconds for which the server may
    keep an empty answer back. Throws Unreachable or Refused; what came before that is kept.
    @param {Session} session
    @param {{ wait: number, signal: AbortSignal }} how */
export async function follow(session, { wait, signal }) {
  let came = false;
  for (let more = true; more;) {
    const page = await next(session, came ? 0 : wait, signal);
    came ||= page.more || page.items.length > 0;
    more = page.more;
  }
  return came;
}

/** One page, stored. A lost place counts as a page: everything comes anew after it.
    @param {Session} session
    @param {number} wait
    @param {AbortSignal} signal */
async function next(session, wait, signal) {
  const { cursor } = await feed();
  const asked = new URLSearchParams({
    limit: String(PAGE),
    wait: String(wait),
    ...(cursor && { cursor }),
  });
  try {
    const page = await ask("GET", `changes?${asked}`, { token: session.token, signal });
    await take(session, cursor, page);
    return page;
  } catch (fault) {
    if (/** @type {Fault} */ (fault).status !== 410 || cursor === null) throw fault;
    await beginAgain(session, cursor);
    return { items: [], more: true };
  }
}

/** Fetches the visits one is a guest on, then one after the other the sheets of the open ones and
    of those to come: many at once would be told to come again. Each is stored as it comes; `changed`
    is called where one brought something new.
    @param {Session} session
    @param {AbortSignal} signal
    @param {() => unknown} changed */
export async function visits(session, signal, changed) {
  const { items } = await ask("GET", "visits", { token: session.token, signal });
  const mine = /** @type {Visit[]} */ (items).filter((one) => one.guest.id === session.keeper);
  await takeVisits(session, mine);
  await changed();
  for (const { id, state } of mine) {
    if (!isHanded(state)) continue;
    if (await takeSheet(session, id, await sheet(session, id, signal))) await changed();
  }
  await people(session, signal); // last: whatever keeps it back must keep back no sheet
  await changed();
}

/** What one keeps, the pairings planned with it, and whom one reported; who keeps nothing has none
    of these. Of pairings with an animal that one is to check blind the server says nothing.
    @param {Session} session
    @param {AbortSignal} signal */
async function people(session, signal) {
  const { token } = session;
  const own = (await ask("GET", "collections", { token, signal })).items;
  const named = own.length ? (await ask("GET", "practitioners", { token, signal })).items : [];
  await takePeople(session, { own, named });
  const { items } = own.length ? await ask("GET", "calendar", { token, signal }) : { items: [] };
  await takeSeason(session, items.map((/** @type {any} */ one) => kept(one, session.keeper)));
}

/** @param {Session} session
    @param {string} id
    @param {AbortSignal} signal */
async function sheet(session, id, signal) {
  try {
    return await ask("GET", `visits/${id}/sheet`, { token: session.token, signal });
  } catch (fault) {
    if (fault instanceof Refused && [403, 404, 409].includes(fault.status)) return null;
    throw fault;
  }
}
