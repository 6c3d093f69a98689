// Holds the facts that the record would log to the form they come from: what was typed, and where.
//
// The record could ask for a signature under anything. What is otherwise than the form says is
// `wrong`, and nothing is signed. What the form does not say is `asked`: its keeper decides.

/** Values that follow from a form without a field of their own, by the member they stand in.
 * @type {Record<string, string[]>} */
const USUAL = {
  held_by: ["not_held"],
  scheme: ["tag"],
  by: ["tag", "appearance"],
  method: ["eversion"],
  manner: ["manual"],
  depth: ["0"],
  type: ["weight"],
  sureness: ["unsure"],
  ground: ["party_objects"],
};
/** Members that no other field's value can fill. */
const STRICT = ["held_by", "method", "type"];
/** What belongs to one subject alone, so that it says what a fact is about. */
const OF_IT = ["call", "held", "grant"];
/** Answers that a fact leaves out, as it would say the same without them. */
const LEFT_OUT = [
  "told=no",
  "vouches=yes",
  "blind=yes",
  "remedy=none",
  "post_mortem=no",
  "contrast=no",
  "manner=manual",
  "days_to_pay=14",
];
/** Fields that stand in no fact: they are kept beside the log, or other fields are made of them. */
const BESIDE = /^(name|reported_name|email|number|pattern|first|scheme|shared|cross|begins|ends)$/;
const ID = /[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}/g;
const MOMENT = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d/;
const DAY = /^\d{4}-\d\d-\d\d(T\d\d:\d\d)?/;
const OUNCE = 28.349523125;

/** @param {Unsigned[]} facts
 * @param {SentForm} form
 * @returns {Agreement} */
export function agreement(facts, form) {
  /** @type {Agreement} */
  const found = { wrong: [], asked: [] };
  const said = new Set(LEFT_OUT);
  for (const fact of facts) new Holding(fact, form, found, said).hold();
  for (const [name, value] of form.typed) {
    const plain = plainName(name);
    if (!value.trim() || BESIDE.test(plain) || said.has(`${plain}=${value}`)) continue;
    if (said.has(`${name}=${value}`)) continue;
    found.asked.push({ what: `left out: ${words(plain)}`, value });
  }
  return { wrong: apart(found.wrong), asked: apart(found.asked) };
}

/** Each once.
 * @param {Differing[]} found */
const apart = (found) => [
  ...new Map(found.map((one) => [`${one.what}=${one.value}`, one])).values(),
];

/** `y-0-code` as `code`: rows of a form have a name before their fields'.
 * @param {string} name */
const plainName = (name) => name.slice(name.lastIndexOf("-") + 1);

/** @param {string} name */
const words = (name) => name.replaceAll("_", " ");

class Holding {
  /** @param {Unsigned} fact
   * @param {SentForm} form
   * @param {Agreement} found
   * @param {Set<string>} said */
  constructor(fact, form, found, said) {
    this.fact = fact;
    this.form = form;
    this.found = found;
    this.said = said;
    const own = form.sent.find(([, value]) => idsIn(value).includes(fact.id));
    this.known = own !== undefined;
    this.row = own ? own[0].slice(0, own[0].lastIndexOf("-") + 1) : "";
    /** The fields of its row, and those that all rows share. */
    this.fields = form.sent.filter(([name]) =>
      name === this.row + plainName(name) || !/-/.test(name)
    );
  }

  hold() {
    const { fact, form } = this;
    if (!form.says.includes(fact.kind)) this.wrong("kind", fact.kind);
    if (!this.known) this.wrong("id", fact.id);
    this.holdAbout();
    this.holdMoment();
    this.holdTexts();
    for (const [path, value] of leaves(fact.body)) this.holdLeaf(path, value);
    this.holdPlaces();
  }

  /** Values that could change places: passes of a probe, and parents. */
  holdPlaces() {
    const { observed, ...body } = /** @type {Record<string, any>} */ (this.fact.body);
    for (const { side, depth, stopped } of observed?.passes ?? []) {
      const made = [side, `${side}_again`].some((run) =>
        Number(this.value(run)) === Number(depth) && this.value(`${run}_stopped`) === stopped
      );
      if (!made) this.wrong("passes", [side, depth, stopped].join(" "));
    }
    const role = this.value("role");
    if (/^(sire|dam)$/.test(role) && !idsIn(this.form.address).includes(body[role])) {
      this.wrong(role, body[role]);
    }
  }

  /** @param {string} name */
  value(name) {
    return this.fields.find(([one]) => plainName(one) === name)?.[1].trim() ?? "";
  }

  /** @param {string} what
   * @param {unknown} value */
  wrong(what, value) {
    this.found.wrong.push({ what: words(what), value: String(value) });
  }

  /** @param {string} what
   * @param {unknown} value */
  ask(what, value) {
    this.found.asked.push({ what: words(what), value: String(value) });
  }

  /** Notes that the fact says what stands in these fields; whether there are any.
   * @param {(field: [string, string]) => boolean} which */
  say(which) {
    const found = this.fields.filter(which);
    for (const [name, value] of found) this.said.add(`${name}=${value}`);
    return found.length > 0;
  }

  /** What it is about is named by the form, or belongs to something that its address names. */
  holdAbout() {
    const { fact, form } = this;
    const address = idsIn(form.address);
    if ([form.keeper, ...address, ...this.fields.flatMap(idsInField)].includes(fact.about)) return;
    if (OF_IT.some((one) => address.includes(String(fact.body[one])))) return;
    if (address.length) this.wrong("about", fact.about);
    else this.ask("about", fact.about);
  }

  holdMoment() {
    const at = this.fields.find(([name]) => name === "at")?.[1] ?? "";
    if (Date.parse(at) === Date.parse(this.fact.at)) return;
    const like = this.fields.filter(([name, value]) => name !== "at" && DAY.test(value))
      .map(([name, value]) => ({ name, value, is: likeness(this.fact.at, value) }))
      .filter(({ is }) => is !== "other");
    for (const { name, value } of like) this.said.add(`${name}=${value}`);
    if (!like.length) this.wrong("at", this.fact.at);
    else if (!like.some(({ is }) => is === "same")) this.ask("at", this.fact.at);
  }

  holdTexts() {
    const texts = new Map(Object.entries(this.fact.texts));
    for (const [name, typed] of this.fields) {
      const text = texts.get(name);
      if (text === undefined || plain(text) !== plain(typed)) continue;
      this.said.add(`${name}=${typed}`);
      texts.delete(name);
    }
    for (const [name, text] of texts) this.wrong(name, text);
  }

  /** @param {string[]} path
   * @param {unknown} value */
  holdLeaf(path, value) {
    const key = path.at(-1) ?? "";
    this.say(([, it]) => it === key); // as where a field says which of two members it is
    const full = path.slice(-2).join("_");
    const text = String(value);
    for (const name of new Set([full, key])) {
      const typed = this.fields.filter(([one, it]) => plainName(one) === name && it.trim());
      if (!typed.length) continue;
      const like = typed.map(([, it]) => likeness(value, it));
      const at = like.includes("same") ? like.indexOf("same") : like.indexOf("near");
      if (at >= 0) {
        this.say(([one, it]) => plainName(one) === name && it === typed[at][1]);
        if (like[at] === "near") this.ask(path.join(" "), text);
        return;
      }
      if (!(this.row && key === "sureness" && text === "unsure")) this.wrong(path.join(" "), text);
      return;
    }
    if (!this.stands(text, key) && !USUAL[key]?.includes(text)) this.ask(path.join(" "), text);
  }

  /** Whether the value stands anywhere in the form: in a field or as the name of one, or in its
   * address.
   * @param {string} text
   * @param {string} key the member it stands in */
  stands(text, key) {
    if (this.form.address.split("/").includes(text)) return true;
    if (STRICT.includes(key)) return false;
    if (this.say(([, value]) => pieces(value).includes(text) || isMoment(text, value))) return true;
    const names = this.fields.filter(([, value]) => value.trim()).map(([name]) => plainName(name));
    const around = [...names, ...names.flatMap((one) => one.split("_")), ...this.form.shown];
    return around.includes(text) || text === this.form.keeper;
  }
}

const YES = /^(yes|on|true)$/i;

/** @param {unknown} value
 * @param {string} typed
 * @returns {"same" | "near" | "other"} */
function likeness(value, typed) {
  const text = String(value);
  if (typeof value === "boolean") return YES.test(typed) === value ? "same" : "other";
  if (plain(text) === plain(typed) || pieces(typed).includes(text)) return "same";
  if (text.toLowerCase() === typed.trim().toLowerCase()) return "same";
  if (MOMENT.test(text)) return isMoment(text, typed) ? "same" : nearby(text, typed);
  const [stated, given] = [Number(text), Number(typed.replace(",", "."))];
  if (Number.isNaN(stated) || Number.isNaN(given)) return "other";
  if (stated === given) return "same";
  const made = Math.abs(given * OUNCE - stated) < 0.051 || Math.abs(given / 100 - stated) < 1e-6;
  return made ? "near" : "other";
}

/** Whether a moment is the time, the day or the end of the day that was typed, in this browser's
 * zone.
 * @param {string} text
 * @param {string} typed */
function isMoment(text, typed) {
  if (!MOMENT.test(text) || !DAY.test(typed)) return false;
  return [0, -1].some((less) => {
    const at = new Date(Date.parse(text) + less);
    const local = new Date(at.getTime() - at.getTimezoneOffset() * 60_000).toISOString();
    return local.startsWith(typed.slice(0, 16)) && (less === 0 || typed.length === 10);
  });
}

/** The log's own zone, the reader's and this browser's may be three.
 * @param {string} text
 * @param {string} typed */
function nearby(text, typed) {
  const apart = Math.abs(Date.parse(text) - Date.parse(typed.slice(0, 10)));
  return apart <= 48 * 3_600_000 ? "near" : "other";
}

/** @param {string} text */
const plain = (text) => text.normalize("NFC").replace(/\r\n?/g, "\n").trim();

/** @param {string} text
 * @returns {string[]} */
const idsIn = (text) => text.match(ID) ?? [];

/** @param {[string, string]} field */
const idsInField = ([name, value]) => [...idsIn(name), ...idsIn(value)];

/** A value, its words and what stands between its commas; of one that is JSON, what is in it.
 * @param {string} value
 * @returns {string[]} */
function pieces(value) {
  if (/^[[{]/.test(value)) {
    try {
      return leaves(JSON.parse(value)).map(([, one]) => String(one));
    } catch {
      // not JSON: a text like any other
    }
  }
  const parts = [value, ...value.split(","), ...value.split(/\s+/)].map(plain);
  const numbers = parts.filter((one) => one && !Number.isNaN(Number(one)));
  return [...parts, ...numbers.map((one) => String(Number(one)))];
}

/** Every single value in it, with the names of the members that lead there.
 * @param {unknown} value
 * @param {string[]} path
 * @returns {[string[], unknown][]} */
function leaves(value, path = []) {
  if (Array.isArray(value)) return value.flatMap((one) => leaves(one, path));
  if (value === null || typeof value !== "object") return [[path, value]];
  return Object.entries(value).flatMap(([name, one]) => leaves(one, [...path, name]));
}
