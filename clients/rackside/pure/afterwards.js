/* What a keeper can still do about an entry that left this phone. */

import { isEdit } from "./edits.js";
import { isInDoubt } from "./undo.js";

/** @type {Record<string, ((fact: Fact) => string) | undefined>} */
const WITHDRAWN_AT = {
  call_made: ({ id }) => `/calls/${id}/withdrawal`,
  season_noted: ({ id, about }) => `/pairings/${about}/notes/${id}/withdrawal`,
  identifier_assigned: ({ about }) => `/animals/${about}/identifiers/withdraw`,
  animal_registered: ({ about }) => `/animals/${about}/registration-error`,
};

const EDIT_IN_DOUBT = "The record may have it by now. To change it, edit the animal again.";

/** In words, with the page on which it can be withdrawn once it is in the log; null where nothing is
    to be told.
    @param {Stored} one
    @returns {{ told: string, page?: string } | null} */
export function afterwards(one) {
  if (isEdit(one)) return isInDoubt(one) ? { told: EDIT_IN_DOUBT } : null;
  const at = WITHDRAWN_AT[one.fact.kind];
  if (isInDoubt(one)) {
    return {
      told: `${
        one.tries
          ? "The log may hold it by now"
          : "It is in a file that was saved, and may be sent from there"
      }, so it can no longer be changed here.${
        at ? " Once it is in the log it can be withdrawn." : ""
      }`,
    };
  }
  if (one.state !== "accepted" || !at) return null;
  return { told: "It is in the log and stays there. If it is wrong, ", page: at(one.fact) };
}

const KEPT = 90 * 86_400_000; // milliseconds (our judgement)

/** Whether the phone can forget it: long since on record, and found there. A call stays, as it is
    looked for again and again where its animal is out of sight.
    @param {Stored} one
    @param {number} now */
export function isOver(one, now) {
  const isOnRecord = one.state === "accepted" && (isEdit(one) || one.place?.holds === true);
  const isOfCall = one.fact.kind === "call_made" || one.fact.body.of !== undefined;
  return isOnRecord && !isOfCall && one.file !== "waiting" && now - one.order > KEPT;
}
