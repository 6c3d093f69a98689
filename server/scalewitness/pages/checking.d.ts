/* What the modules of the receipt check hand each other. For the type check alone; it is not served.
   Positions and sizes are BigInt, hashes have 32 bytes. */

type Bytes = Uint8Array<ArrayBuffer>;
type Json = null | boolean | number | string | Json[] | { [name: string]: Json };

/** A log entry, read strictly (entry.js). */
interface Entry {
  v: 1 | 2;
  kind: string;
  id: string;
  by: string | null;
  device: string | null;
  at: string;
  about: string | null;
  body: any;
  sig: string | null;
  /** What the record stamped on it: in entries of version 2. */
  received?: string;
  flags?: string[];
}

/** A public key of a log or a witness, and one line of signature (keys.js, notes.js). */
interface VerifierKey {
  name: string;
  id: Bytes;
  type: number;
  material: Bytes;
  text: string;
}
interface SignatureLine {
  name: string;
  id: Bytes;
  signature: Bytes;
}
interface Note {
  text: string;
  lines: SignatureLine[];
}
interface OpenedNote {
  text: string;
  verified: { key: VerifierKey; at: bigint | null }[];
  unchecked: SignatureLine[];
  unknown: SignatureLine[];
}
/** While it is being opened: what vouches by the key's label. */
type Opening = Omit<OpenedNote, "verified"> & {
  verified: Map<string, OpenedNote["verified"][number]>;
};
interface Head {
  origin: string;
  size: bigint;
  root: Bytes;
}

/** A receipt's parts, and what is proved from it (receipt.js). */
interface Receipt {
  entry: Bytes;
  position: bigint;
  proof: Bytes[];
  checkpoint: Note;
}
interface Proven {
  entry: Entry;
  position: bigint;
  head: Head;
  opened: OpenedNote;
  log: VerifierKey;
}
type Judged =
  | { holds: true; proven: Proven; logs: VerifierKey[]; elsewhere: boolean }
  | { holds: false | null; why: string };
/** Whether the log has only grown since; `evidence` is its signed checkpoint that contradicts the
    receipt (growth.js). */
type Growth =
  | { grew: true; size: bigint; evidence?: undefined }
  | { grew: false; why: string; evidence: Bytes }
  | { grew: null; why: string; evidence?: undefined };
/** What a verdict says (words.js, show.js). */
interface Verdict {
  state: "holds" | "fails" | "unknown";
  headline: string;
  why: string;
}

/** Swagger UI, from its own package's files (docs/docs.js). */
declare var SwaggerUIBundle: { (given: object): unknown; presets: { apis: unknown } };

/** The map of subjects (record_map.js, vrf.js, stated.js): positions and counts are numbers. */
interface VrfKey {
  modulus: bigint;
  bytes: Bytes;
  hash: Bytes;
}
interface Link {
  position: number;
  hash: Bytes;
}
interface MapOpening {
  count: number;
  nonce: Bytes;
  pathProof: Bytes;
  siblings: Bytes[];
  hidden: Link[];
}
/** `key`: the hash of the map's key, in hexadecimal; `note`: the signed checkpoint; `by`: the key
    that vouches for it; `received`: when it was signed, by the log's clock, null: it does not tell. */
interface StatedMap {
  received: string | null;
  head: Head;
  by: VerifierKey;
  note: string;
  root: Bytes;
  key: string;
  why: string | null;
}
interface RecordFound {
  subject: string;
  entries: Map<number, Entry>;
  hidden: Link[];
  why: string | null;
}

/** Something that is shown, beside the entry it comes from (agreeing.js). `kind`: that of the entry;
    or `record`: all entries of the kinds `all` are shown; `standing`: the one in force, position null
    where there is none; `sheet`: what is said of an animal. `body`: all that the entry holds;
    `holds`: some of it. */
interface Shown {
  kind: string;
  label: string;
  about: string;
  position?: number | null;
  id?: string;
  by?: string | null;
  at?: string;
  received?: string;
  flags?: string[];
  body?: unknown;
  holds?: unknown;
  withdrawn?: boolean;
  admitted?: unknown;
  /** Free texts, each with its salt, and what they come to under it. */
  texts?: Record<string, [string, string]>;
  committed?: [string, string][];
  all?: string[];
}
interface Noted {
  noted: any;
  at: string;
}
interface Amiss {
  about: string | null;
  position: number | null;
  text: string;
}
/** What is remembered of a log by its name (seen_before.js, whole.js). */
interface LogMemory {
  note(origin: string): string | null;
  keepNote(origin: string, note: string): void;
  mapKey(origin: string): string | null;
  keepMapKey(origin: string, modulus: string): void;
}
/** How a log is asked; null: it refuses to show that. */
interface LogAsked {
  consistency(old: bigint, now: bigint): Promise<string[] | null>;
  mapKey(): Promise<unknown>;
  keyChanges?(): Promise<string[]>;
}
/** The log given over to `key` with the tree `head` (key_changes.js). */
interface KeyChange {
  key: VerifierKey;
  head: Head;
  note: string;
}
/** `before`: the size seen the last time, or the note that this one contradicts. */
type Whole =
  | {
    holds: true;
    position: number;
    hidden: number;
    before: number | null;
    received: string | null;
  }
  | { holds: false; amiss: Amiss[]; before: string | null };
