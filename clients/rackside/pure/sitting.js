/* Checks in a row: what a call tells of how the next one is made, and nothing of what it finds. */

/** After so long a break all of it is asked again (common practice, no source). */
const SITTING = 4 * 3_600_000; // milliseconds

/** Of what a method asks, that which says how it is done, not what was seen. */
const HOW = ["manner", "contrast", "system", "sample", "marker"];

/** The newest of these calls within a sitting, on animals of that visit and of one's own making;
    null where there is none. `records`: the newest first.
    @param {Stored[]} records
    @param {string} visit
    @param {number} now
    @returns {CallForm | null} */
export function before(records, visit, now) {
  const found = records.find((one) =>
    one.form && one.shown.visit === visit && one.state !== "aside" && now - one.order < SITTING
  );
  return found?.form && !found.form.whose ? found.form : null;
}

/** What the next form begins with. That one had been told an animal's sex says nothing of the next.
    @param {CallForm | null} form
    @returns {Partial<CallForm>} */
export function carried(form) {
  if (!form) return {};
  const { method, held_by, told, probe_mm = "" } = form;
  const answers = Object.fromEntries(
    Object.entries(form.answers).filter(([name]) => HOW.includes(name)),
  );
  return { method, held_by, told: told === "no" ? told : "", probe_mm, answers };
}
