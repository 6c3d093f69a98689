/* What becomes of a fact between this phone and the log. Values in, values out.

   saved → sent → accepted | held | refused → aside
   A lost answer or a server's fault leads from sent back to saved: sending the same again is
   safe, its id is known there. */

export const BATCH = 50;

/** A fact stored and not sent yet. `shown` is what the list says of it. */
export function saved(fact, { by, device, sig, shown, form, order }) {
  return { id: fact.id, fact, by, device, sig, shown, form, order, state: "saved", tries: 0 };
}

export const isUnsent = (one) => one.state === "saved" || one.state === "sent";
/** The fact is in and the file of the photo is not. */
export const filed = (one) => one.state === "accepted" && one.file === "waiting";
export const needsYou = (one) => one.state === "refused";

/** Those to send next, in the order they were made. */
export function due(records, by) {
  return records
    .filter((one) => isUnsent(one) && one.by === by)
    .sort((a, b) => a.order - b.order)
    .slice(0, BATCH);
}

export function sent(record) {
  return { ...record, state: "sent", tries: record.tries + 1, fault: null };
}

/** After an outcome of the server's, as `POST push` gives it. */
export function answered(record, outcome) {
  if (outcome.status === "accepted" || outcome.status === "duplicate") {
    const flags = outcome.flags ?? [];
    return { ...record, state: "accepted", position: outcome.position, flags, fault: null };
  }
  if (outcome.status === "held") return { ...record, state: "held", fault: null };
  if (outcome.status === "refused") {
    return { ...record, state: "refused", problem: outcome.problem, fault: null };
  }
  return unanswered(record, "The server’s answer could not be read.");
}

/** After a try that brought no outcome. */
export function unanswered(record, fault) {
  return isUnsent(record) ? { ...record, state: "saved", fault } : record;
}

/** A refused one that its examiner lets rest; `instead` is the id of what they sent anew. */
export function aside(record, instead = null) {
  if (!needsYou(record)) throw new Error("only what was refused can be put aside");
  return { ...record, state: "aside", instead };
}

/** Every outcome put to its record by id; records without one stay as they were sent. */
export function settle(records, outcomes) {
  const told = new Map(outcomes.map((one) => [one.id, one]));
  return records.map((one) =>
    told.has(one.id) ? answered(one, told.get(one.id)) : unanswered(one, "It was not answered."),
  );
}

const PICTURE = {
  waiting: () => "; the picture itself is not sent yet",
  refused: (record) => `; the picture itself is not taken: ${record.fileFault}`,
};

/** The state in words. */
export function words(record) {
  switch (record.state) {
    case "saved":
      return record.fault ? `Saved here. ${record.fault}` : "Saved here";
    case "sent":
      return "Sent, no answer yet";
    case "accepted":
      return `Accepted at position ${record.position}${PICTURE[record.file]?.(record) ?? ""}`;
    case "held":
      return "Held: it came long after the visit, its host decides";
    case "refused":
      return `Needs you: ${reason(record.problem)}`;
    default:
      return record.instead ? "Put aside: sent anew" : "Put aside";
  }
}

function reason(problem) {
  const places = (problem?.errors ?? []).map((one) => one.detail);
  return [...new Set([problem?.detail, ...places])].filter(Boolean).join(" ") || "it was refused.";
}

/** How many wait, in words for the head of every page. */
export function summary(records) {
  const waiting = records.filter((one) => isUnsent(one) || filed(one)).length;
  const asking = records.filter(needsYou).length;
  const parts = [];
  if (asking) parts.push(`${asking} need${asking === 1 ? "s" : ""} you`);
  if (waiting) parts.push(`${waiting} not sent`);
  return parts.join(", ") || "Nothing waits";
}
