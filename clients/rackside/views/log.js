/* Logging a call, with one thumb. */

import { saveForm, withIt } from "../app/logging.js";
import { keeping } from "../app/drafts.js";
import { h, list, notKept } from "../app/dom.js";
import { takeScanned } from "../app/scanner.js";
import { animalsOf, nextToDo, now, OWN, ownAnimal, state, visitOf } from "../app/state.js";
import { blank, missing } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
import { bears, identity, isTransponder } from "../pure/scanned.js";
import { ofAnother, tagOf, title } from "../pure/search.js";
import { before, carried } from "../pure/sitting.js";
import { formOf } from "../pure/undo.js";
import { some } from "../store/db.js";
import { draftOf } from "../store/drafts.js";
import { fields } from "./call_fields.js";
import { timeOf } from "./clock.js";
import { elsewhere } from "./elsewhere.js";
import { dots, tell } from "./missing.js";
import { unfit } from "./proved.js";
import { about, general } from "./sheet.js";

/** `read`: whether a code of it was typed in full to find it: that is what its label shows, no reading
    of the snake. `from`: a refused call to send anew.
    @param {{ visit: string, animal: string, read?: string, from?: string }} where */
export async function log({ visit: visitId, animal: animalId, read, from }) {
  const isOwn = visitId === OWN.id;
  const visit = isOwn ? OWN : visitOf(visitId);
  const animal = isOwn
    ? await ownAnimal(animalId)
    : animalsOf(visitId).find((one) => one.id === animalId);
  if (!visit || !animal) return elsewhere(visit);
  const refused = from ? state.outbox.find((one) => one.id === from) ?? null : null;
  const last = before(state.outbox, visitId, Date.now());
  const scan = takeScanned();
  const form = refused?.form ? await filled(refused) : await begun(animal, visitId, last, read);
  const made = page(visit, animal, form, { refused, last: refused ? null : last });
  if (scan && !refused) made.scanned(scan.code, scan.by, [{ animal, visit: visitId }]);
  return made;
}

/** The form of a refused call; its weight again only where that was refused with it.
    @param {Stored} refused
    @returns {Promise<CallForm>} */
async function filled(refused) {
  const group = withIt(refused);
  const files = await some("photos", group.map(({ id }) => id));
  const { noted: _, ...form } = /** @type {CallForm} */ (formOf(group, files));
  return { ...form, when: "" };
}

/** @param {Animal} animal
    @param {string} visit
    @param {CallForm | null} last
    @param {string | undefined} read */
async function begun(animal, visit, last, read) {
  const draft = await draftOf(animal.id);
  if (draft?.visit === visit) return draft.form;
  const tag = tagOf(animal);
  return blank({ ...carried(last), ...(read && tag ? { identified: "tag", code: tag } : {}) });
}

/** `last`: the call before, where some of this one is carried over from it.
    @param {KeptVisit} visit
    @param {Animal} animal
    @param {CallForm} form
    @param {{ refused: Stored | null, last: CallForm | null }} of */
function page(visit, animal, form, { refused, last }) {
  const warned = h("div", { class: "warnings", role: "status", "aria-label": "Cautions" });
  const wrong = h("div", { class: "refused", role: "alert", tabindex: "-1", hidden: true });
  const keep = keeping(animal.id, visit.id, form);
  const warnings = () => [
    ...ofAnother(animalsOf(visit.id), animal, form),
    ...cautions(animal, form, now()),
  ];
  const lacking = () =>
    missing(form, animal.species.key, Boolean(node.querySelector("[name=when]")));
  const show = () => {
    warn(warned, warnings());
    dots(node, lacking());
  };
  const change = () => {
    show();
    keep.soon();
  };
  const asked = fields(form, { animal, isOwn: visit === OWN, before: last, change });
  const back = visit === OWN ? "#/own" : `#/visit/${visit.id}`;
  const next = visit === OWN || refused ? null : nextToDo(visit.id, animal.id);
  const buttons = [
    h(
      "button",
      { type: "button", class: next ? "plain" : null, onclick: () => send(back) },
      "Save the call",
    ),
    ...(next
      ? [h(
        "button",
        { type: "button", onclick: () => send(`#/log/${visit.id}/${next.id}`) },
        "Save and next",
      )]
      : []),
  ];
  const node = h(
    "form", // which nothing submits: a reader ends what it types with Enter
    { class: "log", novalidate: true, onsubmit: (event) => event.preventDefault() },
    h(
      "p",
      { class: "trail" },
      h("a", { href: "#/scan", "aria-label": "Scan its label" }, "Scan"),
      h("a", { href: back }, visit === OWN ? "Animals" : "The sheet"),
    ),
    h("h1", { tabindex: "-1" }, title(animal)),
    h("p", { class: "fine legend" }, "still to be said"),
    h("p", { class: "fine" }, about(animal)),
    unfit(animal),
    timeOf(form, refused, change, keep.anew),
    warned,
    general(visit),
    ...asked.nodes,
    wrong,
    h("div", { class: "bar" }, buttons),
  );
  show();
  /** @param {string} then */
  async function send(then) {
    const sentences = lacking();
    tell(wrong, node, sentences);
    if (sentences.length) return;
    for (const one of buttons) one.disabled = true;
    keep.stop();
    try {
      await saveForm(form, { visit, animal, refused, then });
    } catch (fault) {
      for (const one of buttons) one.disabled = false;
      tell(wrong, node, [["", notKept(fault)]]);
    }
  }
  return {
    title: `Log ${title(animal)}`,
    node,
    editing: true,
    filling: true,
    leave: keep.now,
    /** What was scanned during this check: this animal's code, or a transponder that is nobody's here.
        @type {NonNullable<View["scanned"]>} */
    scanned(code, by, found) {
      const isKnown = found.length > 0;
      if (isKnown && !bears(animal, code)) return false;
      if (!isKnown && !(by === "reader" && isTransponder(code))) return false;
      const read = identity(animal, code, by);
      if (read) asked.read(...read);
      return true;
    },
  };
}

/** @param {HTMLElement} box
    @param {string[]} sentences */
function warn(box, sentences) {
  const text = sentences.join("\n");
  if (box.dataset.text === text) return;
  box.dataset.text = text;
  box.hidden = !sentences.length;
  box.replaceChildren(list(sentences));
}
