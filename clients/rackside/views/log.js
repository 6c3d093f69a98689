/* Logging a call, with one thumb. */

import { saveForm, withIt } from "../app/logging.js";
import { keeping } from "../app/drafts.js";
import { h, list } from "../app/dom.js";
import { animalsOf, now, OWN, ownAnimal, state, visitOf } from "../app/state.js";
import { blank, missing } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
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
  const form = refused?.form ? await filled(refused) : await begun(animal, visitId, last, read);
  return page(visit, animal, form, { refused, last: refused ? null : last });
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
  const save = h("button", { type: "button", onclick: () => send() }, "Save the call");
  const node = h(
    "form", // which nothing submits: a reader ends what it types with Enter
    { class: "log", novalidate: true, onsubmit: (event) => event.preventDefault() },
    h(
      "p",
      { class: "trail" },
      visit === OWN
        ? h("a", { href: "#/own" }, "Animals")
        : h("a", { href: `#/visit/${visit.id}` }, "The sheet"),
    ),
    h("h1", { tabindex: "-1" }, title(animal)),
    h("p", { class: "fine legend" }, "still to be said"),
    h("p", { class: "fine" }, about(animal)),
    unfit(animal),
    timeOf(form, refused, change),
    warned,
    general(visit),
    ...asked.nodes,
    wrong,
    h("div", { class: "bar" }, save),
  );
  show();
  async function send() {
    const sentences = lacking();
    tell(wrong, node, sentences);
    if (sentences.length) return;
    save.disabled = true;
    keep.stop();
    try {
      await saveForm(form, { visit, animal, refused });
    } catch (fault) {
      const { message } = /** @type {Error} */ (fault);
      save.disabled = false;
      tell(wrong, node, [["", `It could not be kept on this phone: ${message}`]]);
    }
  }
  return { title: `Log ${title(animal)}`, node, editing: true, filling: true, leave: keep.now };
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
