/* Finding an animal by what is on its tub or comes from a reader. */

/** As codes are compared: without case, spaces, dots and dashes.
    @param {string} text */
export const plain = (text) =>
  text.normalize("NFKC").toLowerCase().replace(/[\s.\-\u2010-\u2013]+/g, "");

/** Animals whose tag, transponder or name holds what was typed, exact codes first.
    @param {Animal[]} animals
    @param {string} typed */
export function find(animals, typed) {
  const wanted = plain(typed);
  if (!wanted) return animals;
  const hit = (/** @type {Animal} */ one) =>
    words(one).some((word) => plain(word).includes(wanted));
  const exact = (/** @type {Animal} */ one) =>
    Number(!codes(one).some((code) => plain(code) === wanted));
  return animals.filter(hit).sort((a, b) => exact(a) - exact(b));
}

/** The identifier that was typed in full, if any: then it was read off the animal.
    @param {Animal} animal
    @param {string} typed */
export function read(animal, typed) {
  const wanted = plain(typed);
  return animal.identifiers.find((one) => wanted && plain(one.code) === wanted) ?? null;
}

/** @param {Animal} animal */
const codes = (animal) => animal.identifiers.map((one) => one.code);
/** @param {Animal} animal */
const words = (animal) => [...codes(animal), animal.name ?? ""];

/** What to say where the code typed at a check is that of another animal of the list, or a transponder
    that is not the one on record.
    @param {Animal[]} animals
    @param {Animal} animal
    @param {CallForm} form
    @returns {string[]} */
export function ofAnother(animals, animal, form) {
  const typed = plain(form.code);
  const bears = (/** @type {Animal} */ one) =>
    one.identifiers.some((mark) => mark.scheme === form.identified && plain(mark.code) === typed);
  if (!typed || bears(animal)) return [];
  const others = animals.filter(bears);
  if (others.length !== 1) return isUnknown(animal, form, typed) ? [UNKNOWN] : [];
  const code = form.identified === "tag" ? "tag" : "transponder";
  return [
    `This ${code} is that of ${title(others[0])}. If that is the snake in hand, note the check ` +
    "there: go back to the sheet. The tubs may have been exchanged; tell the keeper.",
  ];
}

const UNKNOWN =
  "This is not the transponder on record for this animal. Read it again; if it is the same, note the " +
  "check, and tell the keeper.";

/** @param {Animal} animal
    @param {CallForm} form
    @param {string} typed */
const isUnknown = (animal, form, typed) =>
  form.identified === "transponder" && /^\d{15}$/.test(typed) &&
  animal.identifiers.some(({ scheme }) => scheme === "transponder");

/** The tag of its tub; "" where it has none.
    @param {Animal} animal */
export const tagOf = (animal) => animal.identifiers.find((one) => one.scheme === "tag")?.code ?? "";

/** What an animal is called here: its tag, else another code, else its name.
    @param {Animal} animal */
export const title = (animal) =>
  tagOf(animal) || (animal.identifiers[0]?.code ?? animal.name ?? "No code");
