/* What a phone thinks of facts in its keeper's name, from the keeper's own entries. It trusts its own
   key, keys that its keeper confirmed here, and keys that a trusted one endorsed.

   The server's `domain/translog/own_word.py` says the same. */

export const OF_KEYS = [
  "device_key_enrolled",
  "device_key_endorsed",
  "device_revoked",
  "signatures_required",
  "signing_notice_given",
  "signing_notice_stopped",
];
const NOTICE_PERIOD = 14 * 24 * 3600 * 1000; // milliseconds

const ALARMING = ["unsigned_ruled", "unknown_key", "forged", "revoked", "recovery_misused"];

/** Why a fact is in doubt, as the end of a sentence.
    @type {Record<string, string>} */
export const WHY = {
  unsigned_ruled: "not signed, although you ruled that only what your devices sign counts",
  unknown_key: "signed by a device that no entry gives a key",
  forged: "its signature does not fit its device’s key",
  revoked: "signed by a device that had been revoked",
  recovery_misused: "signed with a recovery key, which signs no such thing",
  recovery: "signed with your recovery key: by whoever has the sheet and is signed in as you",
  notice:
    "notice that all your devices are lost. Fourteen days later facts count in your name unsigned again, unless you stop it with the command: scalewitness require-signatures --stop-notice",
  unsigned: "sent by a device without a signature",
  by_password: "signed by a device whose key nothing but the password stands for",
};

/** Whether a record that keeps its rules would never have taken it.
    @param {InMyName} one */
export const isAlarm = ({ why }) => ALARMING.includes(why ?? "");

/** Whether its keeper is to be asked: not of what was made on a page, nor of what was them.
    @param {InMyName} one */
export const isAsked = ({ why, answer }) => (why ?? "") in WHY && answer !== "mine";

/** Judges facts by what those of {@link OF_KEYS} among `held` say; gives the doubt of each of
    `open`, "" for none. `verify(key, entry)`: whether the key (hex) signed the entry.
    @param {string[]} trusted
    @param {InMyName[]} held
    @param {InMyName[]} open
    @param {(key: string, entry: OwnEntry) => Promise<boolean>} verify */
export async function judged(trusted, held, open, verify) {
  const word = {
    trusted: new Set(trusted),
    /** @type {Map<string, string>} */ keys: new Map(),
    /** @type {Set<string>} */ recovery: new Set(),
    /** @type {Map<string, number>} */ ends: new Map(),
    /** @type {[number, boolean][]} */ rules: [],
    /** @type {Word["notices"]} */ notices: [],
    verify,
  };
  const told = held.filter(({ entry }) => OF_KEYS.includes(entry.kind));
  for (const one of told.sort((a, b) => a.position - b.position)) await read(word, one);
  return {
    keys: word.keys,
    doubts: await Promise.all(open.map((one) => doubt(word, one))),
  };
}

/** @param {Word} word
    @param {InMyName} one */
async function read(word, { entry, position }) {
  const { kind, body, device } = entry;
  if (kind === "device_key_enrolled") {
    if (body.device !== device || word.keys.has(body.device)) return; // a device has one key
    if (!await word.verify(body.key, entry)) return;
    word.keys.set(body.device, body.key);
    if (body.recovery) word.recovery.add(body.device);
    return;
  }
  const trusts = await isTrusted(word, entry, position);
  if (kind === "device_revoked") {
    const ends = trusts || await endsAnyway(word, entry, position);
    if (ends && !word.ends.has(body.device)) word.ends.set(body.device, position);
  } else if (trusts && kind === "device_key_endorsed") {
    if (word.keys.get(body.device) === body.key) word.trusted.add(body.key);
  } else if (kind === "signing_notice_given") giveNotice(word, entry, position);
  else if (trusts && kind === "signing_notice_stopped") stopNotice(word, entry, position);
  else if (trusts) word.rules.push([position, body.required ?? true]);
}

/** Whether what no trusted device states ends a key: any device ends its own; a page and any device
    do too, until nothing counts that is not signed.
    @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
async function endsAnyway(word, entry, position) {
  const { body, device, sig } = entry;
  const free = !isRuled(word, entry, position);
  if (sig === null) return free;
  const key = word.keys.get(device ?? "");
  if (key === undefined || !(free || device === body.device)) return false;
  return await word.verify(key, entry);
}

/** If the record may have taken it: made on a page, while the rule held and no other ran.
    @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
function giveNotice(word, { id, sig, device, received }, position) {
  const ends = Date.parse(received ?? "") + NOTICE_PERIOD;
  if (Number.isNaN(ends) || sig !== null || device !== null) return;
  if (ruleAt(word, position) === null || running(word, position)) return;
  word.notices.push({ id, position, ends, stopped: null });
}

/** @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
function stopNotice(word, entry, position) {
  const notice = running(word, position);
  const named = notice !== undefined && notice.id === entry.body.notice;
  if (named && isRuled(word, entry, position)) notice.stopped = position;
}

/** @param {Word} word
    @param {InMyName} one
    @returns {Promise<string>} */
async function doubt(word, { entry, position }) {
  if (entry.sig === null) {
    if (isRuled(word, entry, position)) {
      return word.notices.some((one) => one.position === position) ? "notice" : "unsigned_ruled";
    }
    return entry.device === null ? "page" : "unsigned";
  }
  const key = word.keys.get(entry.device ?? "");
  if (!key) return "unknown_key";
  if (!await word.verify(key, entry)) return "forged";
  if (hasEnded(word, entry, position)) return "revoked";
  if (isMisused(word, entry)) return "recovery_misused";
  if (!word.trusted.has(key)) return "by_password";
  return isByPaper(word, entry) ? "recovery" : "";
}

/** Whether a recovery key states it, other than its own enrolment.
    @param {Word} word
    @param {OwnEntry} entry */
const isByPaper = (word, { device, kind }) =>
  word.recovery.has(device ?? "") && kind !== "device_key_enrolled";

/** Whether it goes beyond what a recovery key signs: that nothing has to be signed any more, that a
    device is the keeper's, or that one is lost.
    @param {Word} word
    @param {OwnEntry} entry */
function isMisused(word, entry) {
  const { kind, body } = entry;
  const lifts = kind === "signatures_required" && body.required === false;
  const recovers = lifts || kind === "device_key_endorsed" || kind === "device_revoked";
  return isByPaper(word, entry) && !recovers;
}

/** Whether nothing counted unsigned when an entry came in there. A notice ends the rule for what
    was received from its day on.
    @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
function isRuled(word, { received }, position) {
  if (ruleAt(word, position) === null) return false;
  const notice = running(word, position);
  return !notice || !(Date.parse(received ?? "") >= notice.ends); // what is no time is not after it
}

/** Where the rule was stated that held there, whatever notices say.
    @param {Word} word
    @param {number} position */
function ruleAt({ rules }, position) {
  const last = rules.filter(([at]) => at < position).at(-1);
  return last?.[1] ? last[0] : null;
}

/** The notice against the rule that held there; a rule stated later outlives it.
    @param {Word} word
    @param {number} position */
function running(word, position) {
  const rule = ruleAt(word, position) ?? Infinity;
  return word.notices.find((one) =>
    rule < one.position && one.position < position &&
    (one.stopped === null || one.stopped >= position)
  );
}

/** Whether its device was revoked before.
    @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
const hasEnded = ({ ends }, { device }, position) =>
  position > (ends.get(device ?? "") ?? position);

/** @param {Word} word
    @param {OwnEntry} entry
    @param {number} position */
async function isTrusted(word, entry, position) {
  const key = word.keys.get(entry.device ?? "");
  if (key === undefined || !word.trusted.has(key) || isMisused(word, entry)) return false;
  if (hasEnded(word, entry, position)) return false;
  return await word.verify(key, entry);
}
