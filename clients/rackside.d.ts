/* What the phone's modules hand each other: the store's records, the API's answers and calls. For the
   type check alone; nothing of it is served. Moments in text are RFC 3339, `Ms` is milliseconds. */

type Sex = "male" | "female";

/** Who is signed in (store/session.js). */
interface Session {
  keeper: string;
  name: string;
  email: string;
  device: string;
  token: string;
  expired?: boolean;
}

/** This phone's key (store/session.js). */
interface PhoneKey {
  pair: CryptoKeyPair;
  state: "pending" | "enrolled" | "refused";
  enrolment: { id: string; at: string; key: string; sig: string };
}

/** One glance at both clocks, and what a clock said (pure/clock.js). */
interface Look {
  server: number;
  here: number;
  mono: number;
  life: string;
  offset: number;
}
interface Reading {
  here: number;
  mono: number;
  life: string;
  before?: Look | null;
}

/** How long something rests, or the server asked to wait (store/sending.js). */
interface Rest {
  from: number;
  seconds: number;
}
interface Hold extends Rest {
  asked: boolean;
  why: string;
  unconfirmed: boolean;
}
interface Sending {
  pushes: number[];
  hold: Hold | null;
}

interface Identifier {
  scheme: "tag" | "transponder" | "scale_photo";
  code: string;
}
interface Condition {
  grams: string | null;
  weighed_at: string | null;
  fed_at: string | null;
  shed: string | null;
  health?: string | null;
}
/** An animal as the feed or a sheet tells of it. */
interface Animal {
  id: string;
  identifiers: Identifier[];
  name?: string;
  version?: number;
  species: { key: string; common: string };
  hatched?: string | null;
  condition: Condition;
  hold_off: boolean;
  ended?: { why: string; at: string } | null;
  sight?: "all" | "blind";
  rack?: string;
  sire?: string | null;
  dam?: string | null;
  collection?: { id: string; name: string };
  standing?: { label: string; position: number; p_male: string; p_male_pessimistic: string } | null;
  own_call?: { id: string; position: number } | null;
}

/** A visit as the API lists it, and with what is kept of its sheet. */
interface Visit {
  id: string;
  state: "invited" | "accepted" | "open" | "over" | "declined" | "cancelled";
  opens: string;
  closes: string;
  blind: boolean;
  count: number;
  host: { id: string; name: string };
  guest: { id: string; name: string };
}
interface KeptVisit extends Visit {
  cautions: string[];
  rows: { animal: string; own_call: Animal["own_call"] }[] | null;
  ahead: Animal[];
  held?: HeldOff;
}
/** Animals of a sheet that are to be left alone for now, and what they are known by; without
    `animals` where kept by a version of before. */
interface HeldOff {
  notice: string | null;
  titles: string[];
  animals?: string[];
}
/** A veterinarian, laboratory or earlier keeper whose check is reported (store/people.js). */
interface Person {
  id: string;
  name: string;
}
interface Sheet {
  cautions: string[];
  animals: Animal[];
  held_off: { id: string; identifiers: Identifier[] }[];
  notice: string | null;
}

/** What is kept of the feed: `pull` counts how often it was fetched from the beginning, `anew`
    while that is under way (store/replica.js). */
interface Feed {
  cursor: string | null;
  pull: number;
  anew: boolean;
}
interface KeptAnimal extends Animal {
  pull: number;
}
/** A call being filled in, kept by its animal (views/log.js). */
interface Draft {
  animal: string;
  visit: string;
  form: CallForm;
}

/** The first form of a hatch day, kept as a draft (views/hatch_begin.js). `day` and `pattern`: which of
    those offered, or "other": then it is what was typed, in `other` and `own`. */
interface HatchForm {
  day: string;
  other: string;
  number: string;
  pattern: string;
  own: string;
}

/** What the phone's store holds: records by store, and single values by name in `meta`. */
interface Kept {
  visits: KeptVisit;
  animals: KeptAnimal;
  outbox: Stored;
  drafts: Draft;
  photos: PhotoFile;
  named: InMyName;
  proved: Proved;
  facts: KeptFact;
  sittings: Sitting;
}
/** A fact about an animal of one's own, as the feed brought it (store/facts.js); `by`: the name of
    who stated it, null where the record did. */
interface KeptFact {
  id: string;
  about: string;
  position: number;
  by: string | null;
  texts: Record<string, string>;
  salts: Record<string, string>;
  entry: OwnEntry;
  /** Of a photo that was seen here: a small picture of it. */
  small?: ArrayBuffer;
}
/** A hatch day, kept until its keeper puts it away (store/sittings.js): what the young share, and each
    of them. `hatched`: also the day of birth; `pattern`: their codes, # for the number; `keyed`: a
    weight being keyed in. `dam` and `sire`: ids. Without young that are still to be registered it
    has neither. `carried`: when it left in a file, for another phone. */
interface Sitting {
  id: string;
  by: string;
  begun: number;
  collection: string;
  species: string;
  hatched: string;
  mode: KeptPairing["mode"];
  dam: string | null;
  sire: string | null;
  pattern: string;
  told: string;
  held_by: string;
  sureness: string;
  keyed: { animal: string; text: string } | null;
  carried?: number;
  young: Young[];
}
/** One of the young. `known`: it was registered before the sitting was opened; `ids`: under which each
    kind of fact about it is stated; `photos`: each file's id in `photos`, and that of the fact about
    it; `before`: ids under which it was refused or put aside. */
interface Young {
  animal: string;
  code: string;
  known: boolean;
  grams: string;
  weighed: Reading | null;
  seen: string;
  conclusion: string;
  harm?: string[]; // what was kept before it was asked has none
  sexed: Reading | null;
  photos: YoungPhoto[];
  ids: Record<YoungFact, string>;
  before: string[];
}
interface YoungPhoto {
  file: string;
  fact: string;
}
type YoungFact = "animal_registered" | "identifier_assigned" | "husbandry_noted" | "call_made";
/** What is to be stated of one of the young: a fact without its time; `file`: a photo's, whose
    fingerprint its body still lacks. */
interface ToState {
  id: string;
  kind: YoungFact | "photo_attached";
  body: any;
  line: string;
  reading: Reading | null;
  file?: string;
}
interface Meta {
  map_key: MapKey;
  unfit: string[];
  log: KnownLog;
  alarms: Alarm[];
  trusted: string[];
  session: Session;
  key: PhoneKey;
  refreshed: number;
  clock: Look;
  feed: Feed;
  sending: Sending;
  latest: Latest;
  cleared: Marker;
  own: Person[];
  named: Person[];
  naming: Person[];
  season: KeptPairing[];
  collections: Record<string, number>;
}
/** The last of this keeper's own facts that the feed brought (store/own_word.js). */
interface Latest {
  kind: string;
  at: string;
  position: number;
}
/** That this phone was in use until a moment, milliseconds, and how much waited (pure/marker.js). */
interface Marker {
  at: number;
  waits: number;
}
/** A planned pairing with an animal of one's own, as it is kept for noting its season. */
interface KeptPairing {
  id: string;
  season: number;
  mode: "eggs" | "live" | "unknown";
  dam: Half | null;
  sire: Half | null;
  noted: { id?: string; what: string; on: string }[];
}
/** One of the two; `species` is missing where a version of before kept it. */
interface Half {
  id: string;
  title: string;
  species?: string;
}
type Held<S, K> = S extends keyof Kept ? Kept[S] : K extends keyof Meta ? Meta[K] : never;
type OpenStores = Record<string, IDBObjectStore>;

interface FedItem {
  type: string;
  animal: any;
  collection?: any;
  facts?: FedItem[];
  entry?: any;
  position?: any;
  by_name?: string | null;
  texts?: Record<string, string>;
  salts?: Record<string, string>;
}
/** An entry of the log (pure/own_word.js). */
interface OwnEntry extends Fact {
  by: string | null;
  device: string | null;
  sig: string | null;
  received?: string;
}
/** A fact in the keeper's own name: `why` null before it was judged, "" where nothing speaks against
    it (store/own_word.js). */
interface InMyName {
  id: string;
  position: number;
  entry: OwnEntry;
  why: string | null;
  answer: "mine" | "not mine" | null;
}
interface Word {
  trusted: Set<string>;
  keys: Map<string, string>;
  recovery: Set<string>;
  ends: Map<string, number>;
  rules: [number, boolean][];
  notices: { id: string; position: number; ends: number; stopped: number | null }[];
  verify: (key: string, entry: OwnEntry) => Promise<boolean>;
}

/** What is known of the log (store/log.js): its verifier `key`, taken on trust the first time, and
    the last checkpoint that was accepted, as a signed note; `at`: milliseconds;
    `followed`: the notes by which it went from one key to the next. */
interface KnownLog {
  key: string;
  note: string;
  size: number;
  at: number;
  followed?: string[];
  /** When the log signed it, by its own clock, where that is shown; the next within so many seconds. */
  signed?: { at: string | null; within: number };
}
/** How the log is asked (pure/log.js); `keyChanges`: signed notes, in order. */
type AskedOfLog = Pick<LogAsked, "consistency"> & { keyChanges(): Promise<string[]> };
type Continued =
  | { size: number; key: string; followed: string[]; trouble?: undefined }
  | { trouble: Trouble };
/** What speaks against what the log shows (pure/log.js). */
interface Trouble {
  kind: "smaller" | "other_root" | "unproven" | "bad_signature" | "other_log";
  why: string;
}
/** One that stays until it is answered, with the signed notes it rests on (store/log.js). */
interface Alarm extends Trouble {
  id: string;
  at: number;
  key: string;
  kept: string | null;
  shown: string;
  answer: { at: number; because: string } | null;
}

/** An animal held to the log (net/proving.js): what was shown, and as of which position; `hidden`:
    entries that one may not read; `amiss`: what does not fit, as sentences, then with the `proofs`
    that it was held to; `at`: milliseconds. */
interface Unfit {
  id: string;
  shown: Shown[];
  at: number;
  position: number;
  hidden: number;
  amiss: string[];
  proofs: unknown;
}
/** As it is now; `was`: what did not fit before and was not set aside yet. */
interface Proved extends Unfit {
  was: Unfit | null;
}
/** A fact of one's own, and where the server said that it stands. */
interface Said {
  fact: Fact;
  position: number;
}
/** The key of the map: as it is taken in, and the answer that shows it to be good. */
interface MapKey {
  modulus: string;
  certified: unknown;
}

/** A page of the feed of changes. */
interface Page {
  items: FedItem[];
  cursor: string;
  more: boolean;
}

/** One pass of a probe as the form holds it; `depth` null: not probed. */
interface ProbePass {
  side: string;
  depth: number | null;
  stopped: string;
}
/** A call being filled in (pure/call.js). */
interface CallForm {
  method: string;
  meal: string;
  shed: string;
  grams: string;
  held_by: string;
  identified: string;
  code: string;
  passes: ProbePass[];
  unusual?: boolean;
  probe_mm?: string;
  answers: Record<string, string>;
  conclusion: string;
  sureness: string;
  told: string;
  harm: string[];
  note: string;
  whose?: string;
  whose_name?: string;
  document?: string;
  when?: string;
  correct?: boolean;
  photos?: ArrayBuffer[];
  /** Where it was undone before it was sent: when it had been noted. */
  noted?: WhenNoted;
}
/** When something was noted: as it says, and what the clock showed (pure/clock.js). */
interface WhenNoted {
  at: string;
  reading: Reading | null;
  look?: Look | null;
}

/** What `POST push` takes: the body depends on the kind. */
interface Fact {
  id: string;
  kind: string;
  at: string;
  about: string;
  body: any;
  texts?: { note: { text: string; salt: string } };
}
interface Problem {
  code?: string;
  title?: string;
  detail?: string;
  errors?: { detail: string; pointer: string }[];
  kinds?: string[];
}
/** What was thrown where the server was asked; the members beside an Error's are a Refused's
    (net/api.js). */
interface Fault extends Error {
  status?: number;
  problem?: Problem | null;
  wait?: number | null;
}
/** What `POST push` answers of each. */
interface Outcome {
  id?: string | null;
  status: string;
  position?: number;
  flags?: string[];
  stamp?: Stamp;
  seal?: Seal;
  problem?: Problem;
  version?: number;
  conflicts?: Record<string, { yours: string; stands: string }>;
}
/** An edit of a record as `POST push` takes it. */
interface SentEdit {
  id: string;
  record: string;
  base_version: number;
  fields: Record<string, string>;
}
/** What shows that a late call came: the entry that seals it (base64), and what opens it. */
interface Seal {
  position: number;
  entry: string;
  salt: string;
}
/** A fact on its way (pure/outbox.js). `shown.edit`: the address at which it is changed, where it can
    be; `carried`: when it left in a file, milliseconds. */
interface Stored {
  id: string;
  fact: Fact;
  by: string;
  device: string;
  sig: string | null;
  /** Of an edit of a record (pure/edits.js), which `fact` tells in the form of one; `version`: that
      of the record once it was taken. */
  edit?: { base_version: number };
  version?: number;
  shown: { visit: string; title: string; line: string; edit?: string };
  form: CallForm | null;
  order: number;
  reading: Reading | null;
  call: string;
  state: "saved" | "sent" | "accepted" | "held" | "refused" | "aside";
  tries: number;
  carried?: number;
  asked?: number;
  file?: "waiting" | "sent" | "refused";
  fileFault?: string;
  fault?: string | null;
  rest?: Rest | null;
  look?: Look | null;
  position?: number;
  flags?: string[];
  stamp?: Stamp;
  seal?: Seal;
  forgotten?: boolean;
  place?: Check;
  chain?: Check;
  problem?: Problem;
  instead?: string | null;
}
/** What the record put on an entry. */
interface Stamp {
  received: string;
  flags: string[];
}
/** Whether an entry of one's own was found in the log (net/own_entries.js): `place`, where the
    server said; `chain`, among all that are about its animal. */
interface Check {
  at: number;
  holds: boolean;
}
/** What is kept of a fact besides, when it is made (app/logging.js). */
type Made = Pick<Stored, "shown" | "form" | "reading" | "call" | "file"> & { place: number };

/** What a file of unsent entries holds (pure/unsent.js). */
interface Unsent {
  items: Fact[];
  edits: SentEdit[];
  photos: PhotoFile[];
  practitioners: Person[];
  shown: { id: string; call?: string; visit: string; title: string; line: string }[];
  hatchDays: { sitting: Sitting; photos: PhotoFile[] }[];
}
/** A hatch day for another phone; `files`: ids of its photos. */
interface HandedOver {
  sitting: Sitting;
  files: string[];
}
interface PhotoFile {
  id: string;
  bytes: ArrayBuffer;
}

/** One pass of sending, how far it has come, and what ended it (net/sender.js). */
interface Run {
  changed: () => unknown;
  done: number;
  faults: number;
}
interface Stop {
  wait: number | null;
  silent?: boolean;
}

/** The members of a CallForm that are one text. */
type TextMember = {
  [N in keyof CallForm]-?: CallForm[N] extends string | undefined ? N : never;
}[keyof CallForm];
/** Something typed, ticked or chosen in a field that the app itself made. */
interface FieldEvent extends Event {
  target: HTMLInputElement;
}
/** What an element is made with (app/dom.js): listeners, and any attribute. */
interface Given {
  onclick?: (event: MouseEvent) => unknown;
  onchange?: (event: FieldEvent) => unknown;
  oninput?: (event: FieldEvent) => unknown;
  onsubmit?: (event: SubmitEvent) => unknown;
  [attribute: string]: any;
}
/** A choice of one out of few or many, and a line to type in (app/dom.js). */
interface Asked {
  name: string;
  options: [string, string][];
  value: string | undefined;
  onpick: (key: string) => void;
}
interface AskedChoice extends Asked {
  legend: string;
  hint?: string;
}
interface AskedLine extends Given {
  name: string;
  label: string;
  value?: string;
  help?: string;
}
/** A number by the phone's own keys (app/keypad.js). */
interface AskedKeypad {
  name: string;
  label: string;
  value?: string;
  step?: 1 | 0.5 | 0.1;
  unit?: string;
  most: number;
  oninput: (text: string) => void;
  ondone?: (text: string) => void;
  done?: string;
  close?: boolean;
  help?: string;
}
type PickOf = (
  name: TextMember,
  legend: string,
  options: [string, string][],
  more?: Partial<AskedChoice>,
) => HTMLElement;
type TypeOf = (name: TextMember, label: string, more: Given) => HTMLElement;

/** An animal that bears what was scanned, and the visit whose sheet it is on: "own" for one's own. */
interface Bearer {
  animal: Animal;
  visit: string;
}
type ScannedBy = "reader" | "camera";

/** What a view gives the frame (app/main.js). `update`: after each change of what is stored; whether
    the view now shows that, else it is made anew. `arrive`: after one came to it; whether it has set
    focus and scroll, else they go to its heading. */
interface View {
  title: string;
  node: HTMLElement;
  update?: () => boolean;
  arrive?: () => boolean;
  leave?: () => unknown;
  editing?: boolean;
  filling?: boolean;
  /** Whether it made use of what was scanned; else that animal is opened. */
  scanned?: (code: string, by: ScannedBy, found: Bearer[]) => boolean;
}

/** The files of this version, put before the worker's text by the server. */
declare const SHELL: { version: string; files: Record<string, string> };

/** What sw.js uses of a service worker's global scope, which the page's own types do not have. */
interface ShellWorker {
  registration: ServiceWorkerRegistration;
  clients: { claim(): Promise<void> };
  skipWaiting(): Promise<void>;
  addEventListener(
    type: "install" | "activate",
    does: (event: { waitUntil(done: Promise<unknown>): void }) => void,
  ): void;
  addEventListener(type: "message", does: (event: MessageEvent) => void): void;
  addEventListener(
    type: "fetch",
    does: (event: { request: Request; respondWith(answer: Promise<Response>): void }) => void,
  ): void;
}

/** A long list (app/virtual.js). Of each item: its `key`, its `height` in rem, and the `texts` that
    its element is filled with, asked for only while it is near the screen, and the `link` that takes the
    focus. */
interface LongList<I, T> {
  key: (item: I) => string;
  height: (item: I) => number;
  texts: (item: I) => T;
  make: (item: I) => HTMLLIElement;
  fill: (node: HTMLLIElement, texts: T) => void;
  link: (node: HTMLLIElement) => HTMLElement;
}
/** A line of a list of animals (views/listing.js): an animal, below the name of its rack where it is
    the first of that, with a link of the rack's own if there is one; `level`: of its heading. */
interface Line {
  animal: Animal;
  rack: { words: string; href: string | null } | null;
  more: [string, string][];
  level: number;
}
/** What the row of an animal says; `proof`: where in the log that stands. */
interface RowTexts {
  title: string;
  href: string;
  label: string;
  place: string;
  about: string;
  says: string;
  state: string;
  proof?: string;
}
/** What a list shows: all animals that are found by searching and, where there is a choice, the sets
    among them, each [key, words, animals]. */
interface Listed {
  all: Animal[];
  sets: [string, string, Animal[]][];
}
/** The page of a list. `address`: where it stands; `read`: what there is now; `row`: what is said of
    one, `typed` being what was searched for; `rack`: what is said of one, by all of its animals;
    `more`: links of a row's own, each [address, words]; `count`: the line that counts; `around`
    renews what else stands on the page; `next`: where to go on after an animal that was opened and
    is in the list no more. */
interface ListPage {
  address: string;
  title: string;
  heading: string;
  head: any[];
  foot: any[];
  read: () => Listed;
  row: (animal: Animal, typed: string) => RowTexts;
  rack: (name: string, animals: Animal[]) => { words: string; href: string | null };
  more?: (animal: Animal) => [string, string][];
  count: (listed: Listed, found: number, typed: string) => string;
  around: (listed: Listed) => void;
  next?: (opened: string) => string | undefined;
}
