/* A filled-in form, what is missing in it, and the facts it becomes. */

/** @import { Choice, Question } from "./words.js" */
import {
  CONCLUSIONS,
  DEEPEST_KNOWN,
  MEAL,
  METHODS,
  PROVED_BY,
  REPORTED,
  SHED,
  SURENESS,
} from "./words.js";

export const MOST_PASSES = 12;
export const DEEPEST = 30;

/** An empty form, but for what is carried over from the call before (pure/sitting.js).
    @param {Partial<CallForm>} [carried]
    @returns {CallForm} */
export function blank(carried = {}) {
  return {
    method: "probing",
    meal: "",
    shed: "",
    grams: "",
    held_by: "",
    identified: "",
    code: "",
    passes: [{ side: "left", depth: null, stopped: "" }, {
      side: "right",
      depth: null,
      stopped: "",
    }],
    answers: {},
    conclusion: "",
    sureness: "",
    told: "",
    harm: [],
    note: "",
    whose: "",
    whose_name: "",
    document: "",
    ...carried,
  };
}

/** Why a depth must be said again: no source has the species probe so deep. Empty where none is.
    @param {CallForm} form
    @param {string} species */
export function unusual(form, species) {
  const deepest = DEEPEST_KNOWN[species] ?? DEEPEST_KNOWN.serpentes;
  const deep = form.method === "probing" &&
    probed(form).some(({ depth, stopped }) => Number(depth) > deepest && stopped !== "aborted");
  return deep
    ? `No source has this species probe deeper than ${deepest} scales. Count again from the vent.`
    : "";
}

/** What is still to be said, in the order of the form: [name of the field, sentence]. `timed`:
    whether the form asks when it was.
    @param {CallForm} form
    @param {string} species
    @returns {[string, string][]} */
export function missing(form, species, timed = false) {
  return /** @type {[string, string][]} */ ([
    timed && !form.when && ["when", "Say when you checked it."],
    form.grams && !grams(form.grams) && ["grams", "Give the weight in grams, such as 420 or 35.5."],
    !form.identified && ["identified", "Say how you knew which animal it was."],
    needsCode(form) && !form.code.trim() && ["code", "Give the code you read."],
    form.identified === "transponder" && form.code.trim() && !/^\d{15}$/.test(digits(form.code)) &&
    ["code", "A transponder code has 15 digits."],
    form.method === "probing" && form.probe_mm && !millimetres(form.probe_mm) &&
    ["probe_mm", "Give the probe’s width in millimetres, such as 1.5."],
    handsOn(form) && !form.held_by && ["held_by", "Say who held the animal."],
    !form.told && ["told", "Say whether anyone had told you its sex."],
    ...unobserved(form),
    unusual(form, species) && !form.unusual && ["unusual", unusual(form, species)],
    !concludes(form) && !form.conclusion && ["conclusion", "Say what you conclude."],
    !concludes(form) && !form.sureness && ["sureness", "Say how sure you are."],
    form.conclusion === "undetermined" && form.sureness === "certain" &&
    ["sureness", "One is not certain of an undetermined sex."],
    form.method === "reproduction" && form.conclusion && form.conclusion !== "female" &&
    ["conclusion", "Eggs or young prove the dam: the conclusion is female."],
    whose(form) && !name(form) && ["whose_name", "Say whose check it was."],
    document(form) && !/^[0-9a-f]{64}$/.test(document(form)) &&
    ["document", "A fingerprint has 64 hexadecimal digits."],
  ].filter(Boolean));
}

/** Whether what was seen says by itself what it comes down to.
    @param {CallForm} form */
export const concludes = (form) => form.method === "parentage";
/** As whose check it is reported; empty for one's own.
    @param {CallForm} form */
export const whose = (form) =>
  METHODS[form.method].onlyOfA ?? (form.method === "statement" ? "" : form.whose ?? "");
/** Their name, with single spaces.
    @param {CallForm} form */
export const name = (form) => (form.whose_name ?? "").normalize("NFC").trim().replace(/\s+/g, " ");
/** @param {CallForm} form */
const document = (form) => (form.document ?? "").trim().toLowerCase();
/** @param {CallForm} form */
const handsOn = (form) => METHODS[form.method].handsOn;
/** @param {CallForm} form */
const needsCode = (form) => form.identified === "tag" || form.identified === "transponder";
/** @param {string} text */
const digits = (text) => text.replace(/[\s.\-\u2010-\u2013]+/g, "");

/** @param {CallForm} form */
function unobserved(form) {
  if (form.method !== "probing") {
    return METHODS[form.method].asks
      .filter(([name, , kind, spare, most, least]) =>
        !(spare && !form.answers[name]) && !answer(form.answers[name], kind, most, least)
      )
      .map(([name, label]) => [name, `${label}: say it.`]);
  }
  const passes = probed(form);
  if (!passes.length) return [["pass-0", "Note at least one side."]];
  return form.passes.flatMap((one, n) =>
    one.depth !== null && !one.stopped
      ? [[`stopped-${n}`, `How did pass ${n + 1} (${one.side}) stop?`]]
      : []
  );
}

/** @param {string | undefined} given
    @param {Question[2]} kind
    @param {number} [most]
    @param {number} [least] */
function answer(given, kind, most = 400, least = 0) {
  if (kind === "text") return /^[A-Za-z0-9][A-Za-z0-9 ._/-]{0,39}$/.test(given ?? "");
  if (kind !== "count") return Boolean(given);
  return /^\d{1,5}$/.test(given ?? "") && Number(given) <= most && Number(given) >= least;
}

/** @param {CallForm} form */
const probed = (form) => form.passes.filter((one) => one.depth !== null);

/** Grams as the log writes them, or null: a decimal comma is taken too, more than nothing.
    @param {string} text */
export function grams(text) {
  const found = /^\s*0*(\d{1,6})(?:[.,](\d)?)?\s*(?:g\s*)?$/.exec(text);
  if (!found) return null;
  const whole = String(Number(found[1]));
  const tidy = found[2] && found[2] !== "0" ? `${whole}.${found[2]}` : whole;
  return Number(tidy) > 0 ? tidy : null;
}

const PROBES = [0.3, 8]; // millimetres, as the server takes

/** A probe's width as the log writes it, or null: a decimal comma is taken too.
    @param {string} text */
export function millimetres(text) {
  const found = /^\s*\d{1,2}(?:[.,]\d{0,2})?\s*(?:mm\s*)?$/.test(text);
  const wide = found ? parseFloat(text.replace(",", ".")) : 0;
  return wide >= PROBES[0] && wide <= PROBES[1] ? String(wide) : null;
}

/** The body of `call_made`, members at their default left out, texts in NFC. `who`: the id of whoever
    it is reported of.
    @param {CallForm} form
    @param {string | null} visit
    @param {string | null} [who] */
export function body(form, visit, who = null) {
  /** @type {Record<string, unknown>} */
  const made = {
    ...concluded(form),
    observed: observed(form),
    identified: identified(form),
    held_by: handsOn(form) ? form.held_by : "not_held",
  };
  if (form.harm.length) made.harm = [...form.harm];
  if (form.told !== "no") made.told = form.told;
  if (visit) made.visit = visit;
  if (who) made.reported = { role: whose(form), who };
  if (document(form)) made.document = document(form);
  return made;
}

/** @param {CallForm} form */
function concluded(form) {
  if (!concludes(form)) return { conclusion: form.conclusion, sureness: form.sureness };
  const proved = PROVED_BY[form.answers.found];
  return proved
    ? { conclusion: proved, sureness: "certain" }
    : { conclusion: "undetermined", sureness: "fairly_sure" };
}

/** @param {CallForm} form */
function observed(form) {
  /** @type {Record<string, unknown>} */
  const made = { method: form.method };
  if (form.method === "probing") {
    made.passes = probed(form).map(({ side, depth, stopped }) => ({
      side,
      depth: String(depth),
      stopped,
    }));
    if (form.unusual) made.unusual = true;
    if (form.probe_mm) made.probe_mm = millimetres(form.probe_mm);
    return made;
  }
  for (const [name, , kind, spare] of METHODS[form.method].asks) {
    if (!spare || form.answers[name]) made[name] = typed(form.answers[name], kind);
  }
  return made;
}

/** @param {string} given
    @param {Question[2]} kind */
function typed(given, kind) {
  if (kind === "count") return Number(given);
  return kind === "yes_or_no" ? given === "yes" : given;
}

/** @param {CallForm} form */
function identified(form) {
  if (!needsCode(form)) return { by: form.identified };
  const code = form.code.trim().normalize("NFC");
  return { by: form.identified, code: form.identified === "transponder" ? digits(code) : code };
}

/** The note as it is sent: what the examiner wrote, then what they were told about meal and
    shed, which a guest cannot put on record otherwise.
    @param {CallForm} form */
export function note(form) {
  const reported = [];
  if (form.meal) reported.push(`Last meal, at the check: ${named(MEAL, form.meal).toLowerCase()}.`);
  if (form.shed) reported.push(`In shed, at the check: ${named(SHED, form.shed).toLowerCase()}.`);
  return [form.note.trim(), ...reported].filter(Boolean).join("\n");
}

/** @param {Choice[]} choices
    @param {string} word */
const named = (choices, word) => choices.find(([one]) => one === word)?.[1] ?? word;

/** One line that says what the call says.
    @param {CallForm} form */
export function line(form) {
  const depths = probed(form).map((one) => `${one.side} ${one.depth}`).join(", ");
  const method = METHODS[form.method].title + (depths ? ` (${depths})` : "");
  const { conclusion, sureness } = concluded(form);
  const said = [named(CONCLUSIONS, conclusion), named(SURENESS, sureness).toLowerCase(), method]
    .join(", ");
  return whose(form) ? `${said}. ${named(REPORTED, whose(form))} call, which you report.` : said;
}
