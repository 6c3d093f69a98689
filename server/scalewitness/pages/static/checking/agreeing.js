// Whether what is shown follows from the entries that were proved.

import { canonical } from "../shared/canonical.js";

const CALLS = ["call_made", "call_refiled"];
const PARTICULARS = ["animal_registered", "particulars_corrected"];
/** Differences told of one thing. */
const MOST = 3;

/** What does not fit, in the order shown. `seen`: up to here everything must be shown.
 * @param {Shown[]} shown
 * @param {Map<string, RecordFound>} records
 * @param {number} seen
 * @returns {Amiss[]} */
export function amiss(shown, records, seen) {
  return shown.flatMap((one) => {
    const record = records.get(one.about);
    if (!record) return [found(one, `${one.label}: the server shows no proof of it`)];
    if (one.kind === "record") return leftOut(one, shown, record, seen);
    if (one.kind === "sheet") return ofSheet(one, record);
    if (one.kind === "standing") return ofStanding(one, record, seen);
    return [...ofEntry(one, record), ...ofCall(one, record, seen)];
  });
}

/** @param {Shown} one
 * @param {string} text
 * @param {number | null} [position]
 * @returns {Amiss} */
const found = (one, text, position = one.position ?? null) => ({
  about: one.about,
  position,
  text: `${text}.`,
});

/** @param {Shown} one */
const named = (one) => `${one.label} (position ${one.position})`;

/** A line beside its entry.
 * @param {Shown} one
 * @param {RecordFound} record */
function ofEntry(one, record) {
  const entry = record.entries.get(Number(one.position));
  if (!entry || entry.kind !== one.kind || (one.id && entry.id !== one.id)) {
    return [found(one, `${named(one)} is shown, and the log has no such entry there`)];
  }
  const beside = { at: time(entry.at), by: entry.by, received: entry.received, flags: entry.flags };
  /** @type {Record<string, unknown>} */
  const stated = { at: time(one.at), by: one.by };
  if (entry.v === 2) Object.assign(stated, { received: one.received, flags: one.flags });
  const differ = [
    ...differences(present(stated), beside),
    ...differences(one.holds ?? {}, entry.body),
    ...(one.body === undefined ? [] : inFull(one.body, entry.body)),
    ...(one.committed ?? []).filter(([field, hash]) => entry.body[field] !== hash)
      .map(([field]) => `the ${field} shown is not the one that its entry commits to`),
  ];
  const told = [...new Set(differ)].slice(0, MOST);
  return told.length ? [found(one, `${named(one)}: ${told.join("; ")}`)] : [];
}

/** @param {string | undefined} text */
const time = (text) => text === undefined ? undefined : Date.parse(text);

/** @param {Record<string, unknown>} value */
const present = (value) =>
  Object.fromEntries(Object.entries(value).filter(([, one]) => one !== undefined));

/** @param {unknown} part
 * @param {unknown} whole */
function differences(part, whole) {
  const there = flat(whole);
  return [...flat(part)].filter(([path, value]) => !same(value, there.get(path)))
    .map(([path, value]) => said(path, value, there.get(path)));
}

/** @param {any} shown
 * @param {any} stated */
function inFull(shown, stated) {
  const { code, ...seen } = stated.identified ?? {};
  if (code && !shown.identified?.code) stated = { ...stated, identified: seen };
  if (canonical(shown) === canonical(stated)) return [];
  const [ours, theirs] = [flat(shown), flat(stated)];
  const paths = [...new Set([...ours.keys(), ...theirs.keys()])];
  const differ = paths.filter((path) => ours.get(path) !== theirs.get(path))
    .map((path) => said(path, ours.get(path), theirs.get(path)));
  return differ.length ? differ : ["what it holds is another"];
}

/** @param {string} path
 * @param {unknown} ours
 * @param {unknown} theirs */
const said = (path, ours, theirs) =>
  `${path} is shown as ${quoted(path, ours)}, its entry says ${quoted(path, theirs)}`;

/** @param {string} path
 * @param {unknown} value */
function quoted(path, value) {
  if (value === undefined || value === null) return "nothing";
  return `“${path === "at" ? new Date(Number(value)).toISOString() : value}”`;
}

/** What is absent in an entry may be shown as nothing, as no, or as an empty text.
 * @param {unknown} ours
 * @param {unknown} theirs */
const same = (ours, theirs) => ours === theirs || (theirs === undefined && !ours);

/** Each value by where it stands; a list of plain values is one.
 * @param {unknown} value
 * @param {string} [path]
 * @param {Map<string, unknown>} [into] */
function flat(value, path = "", into = new Map()) {
  if (value === null || typeof value !== "object") return into.set(path, value ?? undefined);
  const nested = Object.values(value).some((one) => one !== null && typeof one === "object");
  if (Array.isArray(value) && !nested) return into.set(path, value.join(", "));
  for (const [name, one] of Object.entries(value)) {
    const step = Array.isArray(value) ? `${Number(name) + 1}` : name.replaceAll("_", " ");
    flat(one, path ? `${path}, ${step}` : step, into);
  }
  return into;
}

/** What became of a call, and what the record says it knew of it.
 * @param {Shown} one
 * @param {RecordFound} record
 * @param {number} seen */
function ofCall(one, record, seen) {
  if (!CALLS.includes(one.kind)) return [];
  const entries = [...record.entries];
  const gone = entries.filter(([, { kind, body }]) =>
    kind === "call_withdrawn" && body.call === one.id
  );
  const wrong = [];
  if (one.withdrawn && !gone.length) wrong.push("shown as withdrawn, and nobody withdrew it");
  const taken = gone.find(([position]) => position <= seen);
  if (!one.withdrawn && taken) wrong.push(`withdrawn at position ${taken[0]}, and not shown so`);
  const admitted = entries.filter(([, { kind }]) => kind === "standing_changed")
    .flatMap(([, { body }]) => body.admitted ?? [])
    .find((/** @type {any} */ other) => other.call === one.id);
  if (admitted) wrong.push(...differences(one.admitted ?? {}, admitted));
  else if (!record.hidden.length) wrong.push("the record never said what it knew of it");
  return wrong.length ? [found(one, `${named(one)}: ${wrong.slice(0, MOST).join("; ")}`)] : [];
}

/** Entries of a kind shown in full that are not shown.
 * @param {Shown} one
 * @param {Shown[]} shown
 * @param {RecordFound} record
 * @param {number} seen */
function leftOut(one, shown, record, seen) {
  const here = new Set(
    shown.filter(({ about }) => about === one.about).map((other) =>
      `${other.kind} ${other.position}`
    ),
  );
  return [...record.entries]
    .filter(([position, { kind }]) => position <= seen && (one.all ?? []).includes(kind))
    .filter(([position, { kind }]) => !here.has(`${kind} ${position}`))
    .map(([position, entry]) =>
      found(one, `${one.label}: ${whatIs(entry)} at position ${position} is not shown`, position)
    );
}

/** @param {Entry} entry */
function whatIs({ kind, body }) {
  if (kind === "call_made") return `a call (${body.observed?.method}: ${body.conclusion})`;
  if (kind === "call_held") return "a late check";
  return `an entry (${kind.replaceAll("_", " ")})`;
}

/** The standing in force: no later one may be on record.
 * @param {Shown} one
 * @param {RecordFound} record
 * @param {number} seen */
function ofStanding(one, record, seen) {
  const stated = [...record.entries]
    .filter(([position, { kind }]) => kind === "standing_changed" && position <= seen)
    .map(([position, { body }]) => ({ position, label: body.label }));
  const last = stated.sort((a, b) => a.position - b.position).at(-1);
  const shown = one.position === null ? [] : ofEntry({ ...one, kind: "standing_changed" }, record);
  if (!last || (one.position ?? -1) >= last.position) return shown;
  const text = `${one.label}: at position ${last.position} the record states “${last.label}”`;
  return [...shown, found(one, `${text}, and that is not shown`, last.position)];
}

/** What a sheet shows beside its calls: codes always, the rest unless some entries are hidden,
 * which may have said it.
 * @param {Shown} one
 * @param {RecordFound} record */
function ofSheet(one, record) {
  const entries = [...record.entries].sort(([a], [b]) => a - b).map(([, entry]) => entry);
  const said = stated(entries);
  const shown = /** @type {Record<string, unknown>} */ (one.holds);
  const names = Object.keys(shown)
    .filter((name) => name === "codes" || !record.hidden.length)
    .filter((name) => canonical(shown[name] ?? null) !== canonical(said[name] ?? null));
  return names.map((name) => {
    const values = [shown[name], said[name]].map((value) => quoted(name, spelled(value)));
    return found(
      one,
      `${one.label}: ${name} is shown as ${values[0]}, its entries say ${values[1]}`,
    );
  });
}

/** @param {unknown} value */
const spelled = (value) =>
  Array.isArray(value) ? value.map((one) => one.join(" ")).join(", ") : value;

/** A code in the form it is stored in.
 * @param {any} body */
const plain = ({ scheme, code }) => [
  scheme ?? null,
  scheme === "transponder" ? `${code}`.replace(/[\s.\u2010-\u2013-]+/g, "") : `${code}`.trim(),
];

/** @param {Entry[]} entries
 * @returns {Record<string, unknown>} */
function stated(entries) {
  const codes = new Map();
  /** @type {any} */ let particulars;
  /** @type {unknown} */ let ended = null;
  /** @type {Record<string, Noted>} */ const notes = {};
  for (const { kind, body, at } of entries) {
    const code = plain(body);
    const name = canonical(code);
    if (PARTICULARS.includes(kind)) particulars = body;
    else if (kind === "identifier_assigned") codes.set(name, code);
    else if (kind === "identifier_withdrawn") codes.delete(name);
    else if (kind === "animal_ended") ended = body.why;
    else if (kind === "end_corrected") ended = null;
    else if (kind === "husbandry_noted") note(notes, body.noted, at);
  }
  const { weight, meal, shed, health } = notes;
  return {
    codes: [...codes.values()].sort(inOrder),
    species: particulars?.species,
    hatched: particulars?.hatched,
    ended,
    weight: weight?.noted.grams,
    weighed: weight?.at,
    fed: meal?.at,
    shed: shed?.noted.stage,
    health: health?.noted.sign,
  };
}

/** Codes as a sheet has them.
 * @param {any[]} one
 * @param {any[]} other */
export const inOrder = (one, other) => `${one.join(" ")}` < `${other.join(" ")}` ? -1 : 1;

/** What was last seen of each kind, by when it was; a meal that was left counts for none.
 * @param {Record<string, Noted>} notes
 * @param {any} noted
 * @param {string} at */
function note(notes, noted, at) {
  if (noted.type === "meal" && !noted.taken) return;
  const last = notes[noted.type];
  if (!last || Date.parse(at) >= Date.parse(last.at)) notes[noted.type] = { noted, at };
}
