/* What the server last had of a keeper, for whose phone lost what it held. */

/** What is noted at the racks, in words.
    @type {Record<string, string>} */
const NOTED = {
  call_made: "a call",
  husbandry_noted: "a note of an animal’s keeping",
  photo_attached: "a photo",
  animal_registered: "an animal registered",
  identifier_assigned: "a code given to an animal",
  season_noted: "a note of a season",
};

/** @param {string} kind */
export const isNoted = (kind) => kind in NOTED;

/** The latest of what the feed brought and of one's calls on the sheets of visits, which are not in
    the feed while one is blind; null where there is none.
    @param {Latest | null} latest
    @param {KeptVisit[]} visits
    @returns {{ what: string, at: number, position: number } | null} */
export function lastHad(latest, visits) {
  const calls = visits.flatMap(({ rows }) => (rows ?? []).flatMap(({ own_call }) => own_call ?? []))
    .map(({ id, position }) => ({ what: NOTED.call_made, at: madeAt(id), position }));
  const told = latest
    ? [{ what: NOTED[latest.kind], at: Date.parse(latest.at), position: latest.position }]
    : [];
  return [...told, ...calls].sort((a, b) => b.position - a.position)[0] ?? null;
}

/** When the id was made, by the clock of whoever made it: milliseconds (UUIDv7, RFC 9562).
    @param {string} id */
const madeAt = (id) => parseInt(id.replaceAll("-", "").slice(0, 12), 16);
