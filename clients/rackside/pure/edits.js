/* Edits of an animal's record, such as where its tub stands: on their way with the facts, but merged
   into the record and in no log. Values in, values out.

   An edit says on which version of the record it was made. Of one animal's edits only the first is
   on its way: the next was made on top of what becomes of it. */

/** @param {Stored} one */
export const isEdit = (one) => one.edit !== undefined;

/** The edit, as it is kept.
    @param {{ id: string, at: string, animal: Animal, place: string }} made
    @returns {Pick<Stored, "fact" | "edit">} */
export const moving = ({ id, at, animal, place }) => ({
  fact: { id, kind: "animal_edited", at, about: animal.id, body: { rack: place } },
  edit: { base_version: animal.version ?? 1 },
});

/** What `POST push` takes of it, without a signature.
    @param {Stored} one
    @returns {Fact | SentEdit} */
export function itemOf({ fact, edit }) {
  if (!edit) return fact;
  const { id, about, body } = fact;
  return { id, record: `animals/${about}`, base_version: edit.base_version, fields: body };
}

/** An edit as another phone sent it, or would have; `at`: when it was taken over, as nobody else says.
    @param {SentEdit} sent
    @param {string} at
    @returns {Pick<Stored, "fact" | "edit">} */
export const takenOver = ({ id, record, base_version, fields }, at) => ({
  fact: { id, kind: "animal_edited", at, about: record.slice("animals/".length), body: fields },
  edit: { base_version },
});

/** Of what is to go, edits after the facts: of each animal the first, on top of those that were taken.
    @param {Stored[]} going in the order they were made
    @param {Stored[]} all */
export function inTurn(going, all) {
  const waits = (/** @type {Stored} */ one) =>
    all.some((other) => isBefore(other, one) && ["saved", "sent"].includes(other.state));
  return [
    ...going.filter((one) => !isEdit(one)),
    ...going.filter((one) => isEdit(one) && !waits(one)).map((one) => rebased(one, all)),
  ];
}

/** @param {Stored} other
    @param {Stored} one */
const isBefore = (other, one) =>
  isEdit(other) && other.fact.about === one.fact.about && other.by === one.by &&
  other.order < one.order;

/** @param {Stored} one
    @param {Stored[]} all
    @returns {Stored} */
function rebased(one, all) {
  const made = all.filter((other) => isBefore(other, one)).map(({ version }) => version ?? 0);
  return { ...one, edit: { base_version: Math.max(one.edit?.base_version ?? 1, ...made) } };
}

/** What an edit came to where somebody else had set the same meanwhile, for its keeper to decide.
    @param {Outcome} outcome
    @returns {Problem} */
export function clash({ conflicts }) {
  const { stands = "", yours = "" } = conflicts?.rack ?? {};
  const told = stands ? `its place was set to “${stands}”` : "its place was cleared";
  return {
    code: "conflict",
    detail: `Meanwhile ${told}. Yours is “${yours}”: nothing was changed.`,
  };
}

/** The animal as it is with what was edited here and is not in what the feed brought yet.
    @template {Animal} A
    @param {A} animal
    @param {Stored[]} outbox
    @returns {A} */
export function asEdited(animal, outbox) {
  const made = outbox.filter((one) =>
    isEdit(one) && one.fact.about === animal.id &&
    (["saved", "sent"].includes(one.state) ||
      (one.state === "accepted" && (one.version ?? 0) > (animal.version ?? 0)))
  );
  if (!made.length) return animal;
  const last = made.reduce((one, other) => (other.order > one.order ? other : one));
  return { ...animal, rack: last.fact.body.rack };
}
