/* What becomes of a fact between this phone and the log. Values in, values out.

   saved → sent → accepted | held | refused → aside
   A lost answer or a server's fault leads from sent back to saved: sending the same again is
   safe, its id is known there. One that failed by itself rests, and the others go on. What was never
   sent can be undone or put aside (see undo.js). */

import { clash, inTurn } from "./edits.js";
import { isUntried } from "./undo.js";
import { left } from "./waiting.js";

export const BATCH = 50;
/** What is held is asked after once a day, in milliseconds (our judgement): its host decides. */
export const ASK_AGAIN = 86_400_000;

/** A fact stored and not sent yet. `shown` is what the list says of it, `reading` what the
    phone's clock said (see clock.js), `call` the call it belongs to.
    @param {Fact} fact
    @param {Pick<Stored, "by" | "device" | "sig" | "order"> & Omit<Made, "place">} made
    @returns {Stored} */
export function saved(fact, { by, device, sig, shown, form, order, reading, call, file }) {
  /** @type {Stored} */
  const made = {
    id: fact.id,
    fact,
    by,
    device,
    sig,
    shown,
    form,
    order,
    reading,
    call,
    state: "saved",
    tries: 0,
  };
  return file ? { ...made, file } : made;
}

/** @param {Stored} one */
export const isUnsent = (one) => one.state === "saved" || one.state === "sent";
/** The fact is in and the file of the photo is not.
    @param {Stored} one */
export const filed = (one) => one.state === "accepted" && one.file === "waiting";
/** @param {Stored} one */
export const needsYou = (one) => one.state === "refused";
/** Refused for the time it claims, as far as its examiner can tell.
    @param {Stored} one */
export const isMistimed = (one) =>
  needsYou(one) && ["future_date", "not_found"].includes(one.problem?.code ?? "");
/** What would be lost if this phone forgot everything now.
    @param {Stored} one */
export const isOwed = (one) =>
  isUnsent(one) || needsYou(one) || filed(one) || (one.state === "held" && one.file === "waiting");

/** Held, and not asked after for a day.
    @param {Stored} one
    @param {number | null} now */
const isToAskAfter = (one, now) =>
  one.state === "held" && now !== null && Math.abs(now - (one.asked ?? 0)) >= ASK_AGAIN;

/** Whether it is of an animal that this phone registers: then all that was stated with that goes in
    its order, and none of it before the animal is in. Gives the registration.
    @param {Map<string, Stored>} calls all by id
    @param {Stored} one */
function registrationOf(calls, one) {
  const first = calls.get(one.call);
  return first?.fact.kind === "animal_registered" && first.id !== one.id ? first : null;
}

/** Those to send next, in the order they were made, at most `most`: neither those that rest, nor
    a photo before its call, nor anything of an animal before it is registered. What is held goes
    again, to hear what was decided of it.
    @param {Stored[]} records
    @param {string} by */
export function due(records, by, { now = /** @type {number | null} */ (null), most = BATCH } = {}) {
  const calls = new Map(records.map((one) => [one.id, one]));
  const going = new Set();
  const kept = new Set(); // registrations of which something earlier stays behind
  const waits = (/** @type {Stored} */ one) => {
    const call = calls.get(one.fact.body?.of);
    if (call && !going.has(call.id) && !["accepted", "held"].includes(call.state)) return true;
    const first = registrationOf(calls, one);
    if (first && (kept.has(first.id) || !(going.has(first.id) || first.state === "accepted"))) {
      return true;
    }
    return now !== null && left(one.rest, now) > 0;
  };
  const goes = (/** @type {Stored} */ one) => {
    const stays = waits(one);
    (stays ? kept : going).add(stays ? one.call : one.id);
    return !stays;
  };
  const found = records
    .filter((one) => (isUnsent(one) || isToAskAfter(one, now)) && one.by === by)
    .sort((a, b) => a.order - b.order)
    .filter(goes);
  return inTurn(found, records).slice(0, most);
}

/** @param {Stored} record
    @param {number | null} [now]
    @returns {Stored} */
export function sent(record, now = null) {
  const asked = now === null ? {} : { asked: now };
  return { ...record, ...asked, state: "sent", tries: record.tries + 1, fault: null };
}

/** After an outcome of the server's, as `POST push` gives it.
    @param {Stored} record
    @param {Outcome} outcome
    @param {Rest | null} [rest]
    @returns {Stored} */
export function answered(record, outcome, rest = null) {
  if (outcome.status === "accepted" || outcome.status === "duplicate") {
    const flags = outcome.flags ?? [];
    const { position, stamp, version } = outcome;
    return { ...record, state: "accepted", position, flags, stamp, version, fault: null };
  }
  if (outcome.status === "held") {
    return { ...record, ...sealedIn(record, outcome.seal), state: "held", fault: null };
  }
  if (outcome.status === "refused") {
    return { ...record, state: "refused", problem: outcome.problem, fault: null };
  }
  if (outcome.status === "conflict") {
    const { version } = outcome;
    return { ...record, state: "refused", version, problem: clash(outcome), fault: null };
  }
  return unanswered(record, "The server’s answer could not be read.", rest);
}

/** What shows that a late call came is kept as it was first given; another later, or none, means
    that the record has forgotten it.
    @param {Stored} record
    @param {Seal} [seal] */
function sealedIn(record, seal) {
  if (!record.seal) return seal ? { seal } : {};
  return seal?.entry === record.seal.entry ? {} : { forgotten: true };
}

/** After a try that brought no outcome. `rest`: {from, seconds} for which it lets others go.
    @param {Stored} record
    @param {string} fault
    @param {Rest | null} [rest]
    @returns {Stored} */
export function unanswered(record, fault, rest = null) {
  return isUnsent(record) ? { ...record, state: "saved", fault, rest } : record;
}

/** One that was refused or never sent, which its examiner lets rest; `instead` is the id of what they
    sent anew. So does what never went without it: its photos, and all of an animal that was not
    registered.
    @param {Stored} record
    @param {string | null} [instead]
    @returns {Stored} */
export function aside(record, instead = null) {
  const isAlong = record.state === "saved" && record.call !== record.id;
  if (!needsYou(record) && !isUntried(record) && !isAlong) {
    throw new Error("only what was refused or never sent can be put aside");
  }
  return { ...record, state: "aside", instead, rest: null };
}

/** Each outcome entered in its record. They answer by place, so those of items refused before their
    id was read count too; `ids` in the order sent. Where an id stands that is not its place's,
    places tell nothing, and only ids count. `rest`: see unanswered.
    @param {Stored[]} records
    @param {Outcome[]} outcomes
    @param {string[]} [ids]
    @param {Rest | null} [rest] */
export function settle(records, outcomes, ids = records.map((one) => one.id), rest = null) {
  const ordered = outcomes.length === ids.length &&
    outcomes.every((one, at) =>
      one && (one.id === null || one.id === undefined || one.id === ids[at])
    );
  const answers = new Map(
    outcomes.filter(Boolean).map((one, at) => [ordered ? ids[at] : one.id, one]),
  );
  return records.map((
    one,
  ) => (answers.has(one.id)
    ? answered(one, /** @type {Outcome} */ (answers.get(one.id)), rest)
    : unanswered(one, "It was not answered.", rest))
  );
}

/** @type {Record<string, (record: Stored) => string>} */
const PICTURE = {
  waiting: () => "; the picture itself is not sent yet",
  refused: (record) => `; the picture itself is not taken: ${record.fileFault}`,
};

/** The state in words.
    @param {Stored} record */
export function words(record) {
  switch (record.state) {
    case "saved":
      return record.fault ? `Saved here. ${record.fault}` : "Saved here";
    case "sent":
      return "Sent, no answer yet";
    case "accepted":
      if (record.edit) return "Changed in the record";
      return `Accepted at position ${record.position}${PICTURE[record.file ?? ""]?.(record) ?? ""}`;
    case "held":
      if (record.file) return "Held with its check; the picture is sent once the host admits that";
      return `Held: it came long after the visit, its host decides without seeing what you found${
        sealed(record)
      }`;
    case "refused":
      return `Needs you: ${reason(record)}`;
    default:
      return record.instead ? "Put aside: sent anew" : "Put aside";
  }
}

/** @param {Stored} record */
function sealed({ seal, forgotten }) {
  if (!seal) return "";
  const where = `position ${seal.position} of the log`;
  if (!forgotten) return `. It is under seal at ${where}`;
  return `. The record has forgotten that it sealed it at ${where}: ask others to look into that`;
}

const CALL_NOT_FOUND =
  "The server knows of no visit of yours to this animal at the time given: it may not have been open, or have been called off.";

/** Why it was refused, in words.
    @param {Stored} record */
function reason({ fact, problem }) {
  if (problem?.code === "not_found" && fact.body.visit) return CALL_NOT_FOUND;
  const places = (problem?.errors ?? []).map(placed);
  const named = places.some((one) => one.endsWith(plain(problem?.detail) ?? ""))
    ? []
    : [plain(problem?.detail)];
  return [...new Set([...named, ...places])].filter(Boolean).join(" ") || "it was refused.";
}

/** @type {Record<string, string>} */
const FIELDS = { "/body/identified/code": "The code you read: ", "/texts/note": "The note: " };
/** @param {{ detail: string, pointer: string }} fault */
const placed = ({ detail, pointer }) => (FIELDS[pointer] ?? "") + plain(detail);

/** The server's words for programmers, in words for their keeper.
    @param {string} [detail] */
const plain = (detail) =>
  detail?.replace(
    /^Expected `str` of length <= (\d+)\.$/,
    "at most $1 characters are possible here.",
  );

/** Whether the log does not hold it as it was sent from here.
    @param {Stored} record */
export const isMissed = ({ place, chain }) => place?.holds === false || chain?.holds === false;

/** How many wait, in words for the head of every page.
    @param {Stored[]} records */
export function summary(records) {
  const waiting = records.filter((one) => isUnsent(one) || filed(one)).length;
  const asking = records.filter(needsYou).length;
  const parts = [];
  if (asking) parts.push(`${asking} need${asking === 1 ? "s" : ""} you`);
  if (waiting) parts.push(`${waiting} not sent`);
  return parts.join(", ") || "Nothing waits";
}
