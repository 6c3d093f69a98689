/* Logging a call, with one thumb. */

import { saveForm, withIt } from "../app/logging.js";
import { keeping } from "../app/drafts.js";
import { choice, group, h, line, list, menu, within } from "../app/dom.js";
import { animalsOf, now, OWN, ownAnimal, state, visitOf } from "../app/state.js";
import { blank, concludes, missing, unusual } from "../pure/call.js";
import { cautions } from "../pure/cautions.js";
import * as m from "../pure/words.js";
import { ofAnother, title } from "../pure/search.js";
import { formOf } from "../pure/undo.js";
import { some } from "../store/db.js";
import { draftOf } from "../store/drafts.js";
import { timeOf } from "./clock.js";
import { elsewhere } from "./elsewhere.js";
import { photos } from "./photos.js";
import { passes } from "./passes.js";
import { unfit } from "./proved.js";
import { reported } from "./reported.js";
import { about, general } from "./sheet.js";

/** @type {m.Choice[]} */
const YES_NO = [["yes", "Yes"], ["no", "No"]];

/** `read`: the kind of code that was typed to find it; `from`: a refused call to send anew.
    @param {{ visit: string, animal: string, read?: string, from?: string }} where */
export async function log({ visit: visitId, animal: animalId, read, from }) {
  const isOwn = visitId === OWN.id;
  const visit = isOwn ? OWN : visitOf(visitId);
  const animal = isOwn
    ? await ownAnimal(animalId)
    : animalsOf(visitId).find((one) => one.id === animalId);
  if (!visit || !animal) return elsewhere(visit);
  const refused = from ? state.outbox.find((one) => one.id === from) ?? null : null;
  const form = refused?.form ? await filled(refused) : await begun(animal, visitId, read);
  return page(visit, animal, form, refused);
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
    @param {string | undefined} read */
async function begun(animal, visit, read) {
  const draft = await draftOf(animal.id);
  if (draft?.visit === visit) return draft.form;
  const before = state.outbox.find((one) => one.form && one.shown.visit === visit);
  const form = blank({ held_by: before?.form?.held_by });
  const code = animal.identifiers.find((one) => one.scheme === read);
  return code ? { ...form, identified: code.scheme, code: code.code } : form;
}

/** @param {KeptVisit} visit
    @param {Animal} animal
    @param {CallForm} form
    @param {Stored | null} refused */
function page(visit, animal, form, refused) {
  const warned = h("div", { class: "warnings", role: "status", "aria-label": "Cautions" });
  const wrong = h("div", { class: "refused", role: "alert", tabindex: "-1", hidden: true });
  const keep = keeping(animal.id, visit.id, form);
  const warnings = () => [
    ...ofAnother(animalsOf(visit.id), animal, form),
    ...cautions(animal, form, now()),
  ];
  const change = () => {
    warn(warned, warnings());
    keep.soon();
  };
  warn(warned, warnings());
  const node = h(
    "form",
    { class: "log", novalidate: true, onsubmit: (event) => send(event) },
    h(
      "p",
      { class: "trail" },
      visit === OWN
        ? h("a", { href: "#/own" }, "Animals")
        : h("a", { href: `#/visit/${visit.id}` }, "The sheet"),
    ),
    h("h1", { tabindex: "-1" }, title(animal)),
    h("p", { class: "fine" }, about(animal)),
    unfit(animal),
    timeOf(form, refused, change),
    warned,
    general(visit),
    ...fields(form, animal, change, visit === OWN),
    wrong,
    h("div", { class: "bar" }, h("button", { type: "submit" }, "Save the call")),
  );
  /** @param {SubmitEvent} event */
  async function send(event) {
    event.preventDefault();
    const lacking = missing(form, animal.species.key, Boolean(node.querySelector("[name=when]")));
    tell(wrong, node, lacking);
    if (lacking.length) return;
    const button = within(node, ".bar button");
    button.disabled = true;
    keep.stop();
    try {
      await saveForm(form, { visit, animal, refused });
    } catch (fault) {
      const { message } = /** @type {Error} */ (fault);
      button.disabled = false;
      tell(wrong, node, [["", `It could not be kept on this phone: ${message}`]]);
    }
  }
  return { title: `Log ${title(animal)}`, node, editing: true, filling: true, leave: keep.now };
}

/** @param {CallForm} form
    @param {Animal} animal
    @param {() => void} change
    @param {boolean} isOwn */
function fields(form, animal, change, isOwn) {
  const set = (/** @type {TextMember} */ name) => (/** @type {string} */ value) => {
    form[name] = value;
    change();
  };
  /** @type {PickOf} */
  const pick = (name, legend, options, more = {}) =>
    choice({ name, legend, options, value: form[name], onpick: set(name), ...more });
  /** @type {TypeOf} */
  const type = (name, label, more) =>
    line({
      name,
      label,
      value: form[name],
      oninput: (event) => set(name)(event.target.value),
      ...more,
    });
  const concluded = [
    pick("conclusion", "Conclusion", m.CONCLUSIONS),
    pick("sureness", "How sure", m.SURENESS),
  ];
  const by = isOwn ? reported(form, pick, type, change) : null;
  const shown = () => {
    for (const one of concluded) one.hidden = concludes(form);
    by?.show();
  };
  const changed = () => {
    shown();
    change();
  };
  shown();
  return [
    group(
      "Before you start",
      pick("meal", "Last meal", m.MEAL),
      pick("shed", "In shed", m.SHED),
      pick("held_by", "Who holds it", m.HELD_BY),
      type("grams", "Weight in grams, if weighed", { inputmode: "decimal", autocomplete: "off" }),
    ),
    group("Which animal", ...identified(form, pick, type, change)),
    group("What you saw", ...observed(form, animal, changed, isOwn)),
    group(
      "What it means",
      ...concluded,
      pick("told", "Who had told you its sex before", m.TOLD),
    ),
    ...(by ? [by.node] : []),
    group(
      "How it went",
      harm(form, change),
      h(
        "div",
        { class: "field" },
        h("label", { for: "note" }, "Note"),
        h("textarea", {
          id: "note",
          rows: 3,
          maxlength: 3500,
          oninput: (event) => set("note")(event.target.value),
        }, form.note),
      ),
      photos(form, change),
    ),
  ];
}

/** @param {CallForm} form
    @param {PickOf} pick
    @param {TypeOf} type
    @param {() => void} change */
function identified(form, pick, type, change) {
  const code = type("code", "The code you read", {
    autocomplete: "off",
    autocapitalize: "characters",
  });
  const show = () => {
    code.hidden = !["tag", "transponder"].includes(form.identified);
  };
  show();
  const how = pick("identified", "How you knew it", m.IDENTIFIED, {
    onpick: (value) => {
      form.identified = value;
      show();
      change();
    },
  });
  return [how, code];
}

/** @param {CallForm} form
    @param {Animal} animal
    @param {() => void} changed
    @param {boolean} isOwn */
function observed(form, animal, changed, isOwn) {
  const asked = h("div", {});
  const insist = insisted(form, animal, changed);
  const change = () => {
    insist.show();
    changed();
  };
  const show = () =>
    asked.replaceChildren(
      ...(form.method === "probing" ? [passes(form, change)] : questions(form, change)),
    );
  const method = menu({
    name: "method",
    label: "Method",
    value: form.method,
    options: Object.entries(m.METHODS)
      .filter(([, { atRack }]) => isOwn || atRack)
      .map(([key, one]) => [key, one.title]),
    onpick: (value) => {
      form.method = value;
      form.answers = {};
      show();
      change();
    },
  });
  show();
  return [method, asked, insist.node];
}

/** A tick to insist on a depth that no source gives; not there where there is none.
    @param {CallForm} form
    @param {Animal} animal
    @param {() => void} change */
function insisted(form, animal, change) {
  const why = h("p", { class: "fine" });
  const tick = h("input", {
    type: "checkbox",
    id: "unusual",
    checked: Boolean(form.unusual),
    onchange: (event) => {
      form.unusual = event.target.checked;
      change();
    },
  });
  const node = h(
    "div",
    { class: "field", "data-field": "unusual" },
    why,
    h(
      "span",
      { class: "pick" },
      tick,
      h("label", { for: "unusual" }, "It did go that deep: I counted again"),
    ),
  );
  const show = () => {
    why.textContent = unusual(form, animal.species.key);
    node.hidden = !why.textContent;
    if (node.hidden) form.unusual = tick.checked = false;
  };
  show();
  return { node, show };
}

/** @param {CallForm} form
    @param {() => void} change */
function questions(form, change) {
  const answer = (/** @type {string} */ name) => (/** @type {string} */ value) => {
    form.answers[name] = value;
    change();
  };
  return m.METHODS[form.method].asks.map(([name, brief, kind, spare]) => {
    const label = spare ? `${brief}, if you know` : brief;
    return kind === "count" || kind === "text"
      ? line({
        name,
        label,
        value: form.answers[name] ?? "",
        inputmode: kind === "count" ? "numeric" : "text",
        oninput: (event) => answer(name)(event.target.value),
      })
      : choice({
        name,
        legend: label,
        options: kind === "yes_or_no" ? YES_NO : kind,
        value: form.answers[name],
        onpick: answer(name),
      });
  });
}

/** @param {CallForm} form
    @param {() => void} change */
function harm(form, change) {
  const ticks = m.HARM.map(([key, label]) => {
    const input = h("input", {
      type: "checkbox",
      id: `harm-${key}`,
      checked: form.harm.includes(key),
      onchange: (event) => {
        form.harm = m.HARM.map(([one]) => one).filter((
          one,
        ) => (one === key ? event.target.checked : form.harm.includes(one)));
        change();
      },
    });
    return h("span", { class: "pick" }, input, h("label", { for: `harm-${key}` }, label));
  });
  return h(
    "fieldset",
    { class: "field" },
    h("legend", {}, "Any sign of harm"),
    h("div", { class: "picks" }, ticks),
  );
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

/** Says what is missing, marks the places and leads to the first of them.
    @param {HTMLElement} box
    @param {HTMLElement} node
    @param {[string, string][]} lacking */
function tell(box, node, lacking) {
  node.querySelectorAll(".wrong").forEach((one) => one.classList.remove("wrong"));
  node.querySelectorAll(".why").forEach((one) => one.remove());
  box.hidden = !lacking.length;
  box.replaceChildren(list(lacking.map(([, sentence]) => sentence)));
  const places = lacking.map(([name, sentence]) =>
    mark(node.querySelector(`[data-field="${name}"]`), sentence)
  );
  const first = places.find((one) => one !== null);
  const control = first && within(first, "input, button:not(:disabled)");
  if (control) control.focus();
  else if (lacking.length) box.focus();
}

/** @param {Element | null} place
    @param {string} sentence */
function mark(place, sentence) {
  if (!place) return null;
  place.classList.add("wrong");
  within(place, "legend, label").after(h("p", { class: "why" }, sentence));
  return place;
}
