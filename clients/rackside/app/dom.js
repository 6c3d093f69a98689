/* Elements made from script, without any markup in strings. */

/** `h("p", {class: "fine"}, "words", node)`; members that are functions become listeners, true
    and false set or leave out an attribute.
    @template {keyof HTMLElementTagNameMap} T
    @param {T} tag
    @param {Given} [given]
    @param {any[]} inside
    @returns {HTMLElementTagNameMap[T]} */
export function h(tag, given = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (typeof value === "function") made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) {
      made.setAttribute(name, value);
    }
  }
  made.append(
    ...inside.flat(2).filter((one) => one !== null && one !== undefined && one !== false),
  );
  return made;
}

/** The element of the frame that has this id.
    @param {string} id */
export const element = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

/** The first element inside that fits: one that the app itself put there.
    @param {Element} place
    @param {string} selector */
export const within = (
  place,
  selector,
) => /** @type {HTMLButtonElement} */ (place.querySelector(selector));

/** What is said where the phone's store refused, as it does where there is no room.
    @param {unknown} fault */
export const notKept = (fault) =>
  `It could not be kept on this phone: ${/** @type {Error} */ (fault).message}`;

let count = 0;
/** @param {string} stem */
export const fresh = (stem) => `${stem}-${(count += 1)}`;

/** A choice of one out of few as wide buttons: radio inputs, so keys and readers know them.
    @param {AskedChoice} asked */
export function choice({ name, legend, options, value, onpick, hint }) {
  const inputs = options.map(([key, label]) => {
    const id = fresh(name);
    const input = h("input", {
      type: "radio",
      id,
      name,
      value: key,
      checked: key === value,
      onchange: () => onpick(key),
    });
    return h("span", { class: "pick" }, input, h("label", { for: id }, label));
  });
  return h(
    "fieldset",
    { class: "field", "data-field": name },
    h("legend", {}, legend),
    hint && h("p", { class: "help" }, hint),
    h("div", { class: options.length === 3 ? "picks three" : "picks" }, inputs),
  );
}

/** A choice of one out of many, folded away.
    @param {Asked & { label: string }} asked */
export function menu({ name, label, options, value, onpick }) {
  const id = fresh(name);
  const offered = options.map(([key, words]) =>
    h("option", { value: key, selected: key === value }, words)
  );
  return h(
    "div",
    { class: "field", "data-field": name },
    h("label", { for: id }, label),
    h("select", { id, name, onchange: (event) => onpick(event.target.value) }, offered),
  );
}

/** A line to type in.
    @param {AskedLine} asked */
export function line({ name, label, value = "", oninput, help, ...more }) {
  const id = fresh(name);
  return h(
    "div",
    { class: "field", "data-field": name },
    h("label", { for: id }, label),
    help && h("p", { class: "help", id: `${id}-help` }, help),
    h("input", {
      id,
      name,
      value,
      oninput,
      "aria-describedby": help ? `${id}-help` : null,
      ...more,
    }),
  );
}

/** A line to find an animal by, asked at each letter.
    @param {(typed: string) => void} look */
export const finder = (look) =>
  h("input", {
    name: "find",
    type: "search",
    "aria-label": "Find by tag, transponder or name",
    placeholder: "Tag, transponder or name",
    autocomplete: "off",
    autocapitalize: "characters",
    enterkeyhint: "search",
    oninput: (event) => look(event.target.value),
  });

/** A button for what cannot be brought back, which asks once more: a thumb in a glove slips.
    @param {string} label
    @param {string} sure
    @param {() => unknown} work
    @param {string} [key] which of several it is */
export function twice(label, sure, work, key = label) {
  const button = h("button", {
    type: "button",
    class: "plain",
    onclick: () => {
      if (pressedOnce !== key) {
        pressedOnce = key;
        button.textContent = sure;
        return null;
      }
      pressedOnce = "";
      return work();
    },
  }, pressedOnce === key ? sure : label);
  return button;
}

let pressedOnce = ""; // which awaits its second press, also where its view is redrawn meanwhile
addEventListener("hashchange", () => pressedOnce = "");

/** Fields under a heading.
    @param {string} legend
    @param {HTMLElement[]} inside */
export const group = (legend, ...inside) =>
  h("section", { class: "group" }, h("h2", {}, legend), inside);

/** Fields that may be left out, folded away unless something was given.
    @param {string} summary
    @param {boolean} open
    @param {HTMLElement[]} inside */
export const fold = (summary, open, inside, name = "") =>
  h("details", { class: `fold ${name}`, open }, h("summary", {}, summary), inside);

/** @param {string[]} sentences */
export const list = (sentences) => h("ul", {}, sentences.map((one) => h("li", {}, one)));

/** A moment in the reader's own words and time.
    @param {string | number} text */
export function moment(text) {
  return new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" })
    .format(new Date(text));
}
