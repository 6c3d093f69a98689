/* How much of an animal its reader may see: one rule for lists, search, photos, counts and care. */

/** Whether its reader is to check it blind, in whatever role they see it: neither name, place and
    standing, nor calls, sex, claims and parents of it are shown.
    @param {Animal} animal */
export const isBlind = ({ sight }) => sight !== "all";

/** What a blind guest may know of it, as the server's sheet has it.
    @param {Animal} animal
    @returns {Animal} */
export function blindly({ id, species, hatched, identifiers, condition, hold_off, ended }) {
  const { grams, weighed_at, fed_at, shed } = condition;
  return {
    id,
    sight: "blind",
    species,
    hatched,
    identifiers: identifiers.filter(({ scheme }) => BLIND_SCHEMES.includes(scheme)),
    condition: { grams, weighed_at, fed_at, shed },
    hold_off,
    ended,
  };
}

const BLIND_SCHEMES = ["tag", "transponder"];

/** The animals of open blind visits that await a call of one's own: whoever sees one of them in
    another role besides, as a partner does, is blind to it meanwhile, also where the visit opened
    without a signal. A call that is still on its way can be changed, so it opens nothing yet.
    @param {KeptVisit[]} open
    @param {Stored[]} outbox */
export function awaited(open, outbox) {
  const called = new Set(
    outbox
      .filter(({ fact, state }) => fact.kind === "call_made" && state === "accepted")
      .map(({ fact, shown }) => `${shown.visit} ${fact.about}`),
  );
  const rows = open.filter(({ blind }) => blind).flatMap(({ id, rows }) =>
    (rows ?? []).filter(({ animal, own_call }) => !own_call && !called.has(`${id} ${animal}`))
  );
  return new Set(rows.map(({ animal }) => animal));
}
