/* What a visit is by the clock: the server's last word on it, carried on without a signal. */

import { blindly } from "./sight.js";

/** The state now: an accepted visit opens by itself. One that the server called open stays so till
    the server says otherwise, whatever this phone's clock makes of it.
    @param {Visit} visit
    @param {number} nowMs */
export const stateAt = (
  visit,
  nowMs,
) => (visit.state === "accepted" && nowMs >= Date.parse(visit.opens) ? "open" : visit.state);

/** @param {Visit} visit
    @param {number} nowMs */
export const isPast = (visit, nowMs) => nowMs >= Date.parse(visit.closes);

/** Whether the server hands its sheet to the guest.
    @param {string} state */
export const isHanded = (state) => state === "accepted" || state === "open";

/** A visit as the list tells of it, with what is kept of its sheet; `rows` null: not fetched yet.
    @param {Visit} visit
    @param {KeptVisit | undefined} kept
    @returns {KeptVisit} */
export function listed(visit, kept) {
  if (!isHanded(visit.state)) return { ...visit, cautions: [], rows: [], ahead: [] };
  const { cautions = [], rows = null, ahead = [], held } = kept ?? {};
  return { ...visit, cautions, rows, ahead, held };
}

/** A visit as it is kept: `rows` of its sheet with one's own call, and of each animal what a blind
    guest may know, for the time until the feed brings it.
    @param {KeptVisit} visit
    @param {Sheet | null} sheet
    @returns {KeptVisit} */
export function withSheet(visit, sheet) {
  const animals = sheet?.animals ?? [];
  return {
    ...visit,
    cautions: sheet?.cautions ?? [],
    rows: animals.map((one) => ({ animal: one.id, own_call: one.own_call })),
    ahead: animals.map(blindly),
    held: {
      notice: sheet?.notice ?? null,
      titles: (sheet?.held_off ?? []).map(({ identifiers }) => code(identifiers)),
      animals: (sheet?.held_off ?? []).map(({ id }) => id),
    },
  };
}

/** @param {Identifier[]} identifiers */
const code = (identifiers) =>
  (identifiers.find(({ scheme }) => scheme === "tag") ?? identifiers[0])?.code ?? "No code";

/** Without these animals, which the guest may not see any more.
    @param {KeptVisit} visit
    @param {Set<string>} animals
    @returns {KeptVisit} */
export function without(visit, animals) {
  return {
    ...visit,
    rows: visit.rows?.filter(({ animal }) => !animals.has(animal)) ?? null,
    ahead: (visit.ahead ?? []).filter(({ id }) => !animals.has(id)),
  };
}
