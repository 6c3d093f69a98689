// Verdicts in plain words: values in, texts out.

import { ED25519 } from "./keys.js";

const MONTHS =
  "January February March April May June July August September October November December".split(
    " ",
  );

/** An RFC 3339 moment in UTC as “25 November 2026, 14:05 UTC”; other text as it is.
 * @param {string} text */
export function moment(text) {
  const parts = /^(\d{4})-(\d{2})-(\d{2})T(\d{2}:\d{2}):\d{2}(?:\.\d+)?Z$/.exec(text);
  const month = parts && MONTHS[Number(parts[2]) - 1];
  return month ? `${Number(parts[3])} ${month} ${parts[1]}, ${parts[4]} UTC` : text;
}

/** A cosignature's time, BigInt seconds since 1970.
 * @param {bigint} seconds */
export function stamp(seconds) {
  const date = new Date(Number(seconds) * 1000);
  return Number.isNaN(date.getTime())
    ? `${seconds} seconds after 1970`
    : moment(date.toISOString());
}

/** @param {unknown} word */
const spaced = (word) => String(word ?? "").replaceAll("_", " ");
/** @param {string} text */
const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** What an entry of each kind concludes, where it does; others say only their kind.
 * `any`: an entry’s body is of its kind’s shape.
 * @type {Record<string, (body: any) => unknown>} */
const CONCLUSIONS = {
  call_made: (body) => body.conclusion,
  standing_changed: (body) => body.label,
  offer_made: (body) =>
    body.represents?.map((/** @type {{ label: string }} */ one) => one.label).join(", "),
  disclosure_owed: (body) => `was ${body.was?.label}, now ${body.now?.label}`,
  finding_recorded: (body) => body.outcome,
};

/** @param {Entry} entry */
function conclusion({ kind, body }) {
  try {
    return spaced(Object.hasOwn(CONCLUSIONS, kind) ? CONCLUSIONS[kind](body) : "");
  } catch {
    return ""; // an entry of a later version; all of it is shown below
  }
}

/** The entry and its place as rows [label, value].
 * @param {Proven} proven
 * @returns {string[][]} */
export function rows({ entry, position, head, opened, log }) {
  const concluded = conclusion(entry);
  return [
    ["Entry", capital(spaced(entry.kind))],
    ...(concluded ? [["Conclusion", concluded]] : []),
    ["Time claimed", moment(entry.at)],
    ...stamped(entry),
    ["Position", `${position}, counted from 0`],
    ["Stated by", entry.by === null ? "the record itself" : entry.by],
    ["About", entry.about ?? "nothing further"],
    [
      "Device",
      entry.sig === null
        ? "no device’s signature"
        : "carries a device’s signature, not checked here",
    ],
    ["Log", head.origin],
    ["Signed at", `${head.size} ${head.size === 1n ? "entry" : "entries"}`],
    ["Key used", log.text],
    ...opened.verified.flatMap(({ key, at }) =>
      at === null ? [] : [["Also signed", `${key.name}, ${stamp(at)}`]]
    ),
  ];
}

/** What the record put on it as it came in.
 * @param {Entry} entry
 * @returns {string[][]} */
function stamped({ received, flags = [] }) {
  if (!received) return [];
  const marked = flags.length ? [["Marked", flags.map(spaced).join(", ")]] : [];
  return [["Received", moment(received)], ...marked];
}

/** Everything in the entry's body, one row a value: where it stands, and what.
 * @param {Json} value
 * @param {string} [path]
 * @returns {string[][]} */
export function bodyRows(value, path = "") {
  if (value === null || typeof value !== "object") return [[path, String(value)]];
  return Object.entries(value).flatMap(([name, one]) => {
    const step = Array.isArray(value) ? Number(name) + 1 : spaced(name);
    return bodyRows(one, path ? `${path}, ${step}` : `${step}`);
  });
}

/** {state, headline, why} of a judgement; state is holds, fails or unknown.
 * @param {Judged} judged
 * @returns {Verdict} */
export function verdict(judged) {
  if (judged.holds === null) {
    return { state: "unknown", headline: "It cannot be judged.", why: judged.why };
  }
  if (!judged.holds) return { state: "fails", headline: "It does not hold.", why: judged.why };
  const { position, head } = judged.proven;
  const why =
    `This entry stood at position ${position} of the log ${head.origin} when the log, at ${head.size} entries, was signed.`;
  return { state: "holds", headline: "It holds.", why };
}

export const SHOWS = [
  "The log that holds this key has exactly this entry at this position, and vouched for it with its signature.",
  "Nobody, the log’s operator included, can since have changed it, moved it or taken it out without contradicting what was signed. Then this receipt is the evidence.",
];

export const SHOWS_NOT = [
  "That the statement is true, who stands behind the ids, or that the time claimed is right.",
  "What was recorded later. A newer entry may withdraw this one or object to it.",
];

/** What a receipt does not show for want of keys from elsewhere.
 * @param {Judged & { holds: true }} judged */
export function dependsOn({ proven, elsewhere }) {
  return [...(elsewhere ? [] : [OWN_KEY]), unseen(proven.opened)];
}

const OWN_KEY =
  "That the log’s key is the right one: it came from this very site, and whoever could alter the log could alter this page. A key you got elsewhere proves more.";

/** @param {OpenedNote} opened */
function unseen(opened) {
  const seen = opened.verified.filter(({ key }) => key.type !== ED25519).length;
  const unread = opened.unchecked.length;
  const besides = unread
    ? ` ${unread} more, of a kind no browser checks yet (ML-DSA), ${
      unread === 1 ? "was" : "were"
    } left out.`
    : "";
  if (seen) {
    return `What everyone is shown: ${seen} of the witnesses you trust signed the same state, and you rely on them for that.${besides}`;
  }
  const others = opened.unknown.length;
  const more = others
    ? ` It bears ${others} other signature${others === 1 ? "" : "s"}, by keys you have not given.`
    : "";
  return `That everyone is shown the same log: no witness whose key you gave has signed it too.${more}${besides}`;
}

/** {state, headline, why} of the second step, the log as it is now.
 * @param {Growth} found
 * @returns {Verdict} */
export function grownVerdict(found) {
  if (found.grew === null) {
    return { state: "unknown", headline: "It could not be asked.", why: found.why };
  }
  if (found.grew) {
    const why =
      `The log, now at ${found.size} entries, begins with exactly the entries it had when the receipt was signed. Nothing in them was changed or taken out.`;
    return { state: "holds", headline: "The log has only grown.", why };
  }
  const why =
    `${found.why} An honest log can always show it. Keep the receipt and the checkpoint below, and show both to others who rely on this log.`;
  return { state: "fails", headline: "The log does not bear the receipt out.", why };
}
