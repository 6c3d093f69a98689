// What a keeper is shown before something is signed that they did not type, or instead of it.

const ID = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;

/** @param {string} tag
 * @param {Record<string, string>} attributes
 * @param {(Node | string)[]} inside */
function made(tag, attributes, ...inside) {
  const found = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) found.setAttribute(name, value);
  found.append(...inside);
  return found;
}

/** What an id stands for, as the page has it.
 * @param {string} value */
function shown(value) {
  if (!ID.test(value)) return value;
  const link = document.querySelector(`main a[href*="${value}"]`)?.textContent?.trim();
  return link || "something that this page does not show";
}

/** @param {Differing[]} found */
const listed = (found) =>
  made("ul", {}, ...found.map(({ what, value }) => made("li", {}, `${what}: ${shown(value)}`)));

/** @param {HTMLFormElement} form
 * @param {HTMLElement} region */
function show(form, region) {
  form.prepend(region);
  region.focus();
}

/** @param {HTMLFormElement} form
 * @param {string} words
 * @param {Differing[]} found */
export function alarm(form, words, found) {
  const about = { class: "refused", role: "alert", tabindex: "-1", "data-of-signing": "" };
  show(form, made("div", about, made("p", {}, words), found.length ? listed(found) : ""));
}

/** Whether its keeper wants to sign this too.
 * @param {HTMLFormElement} form
 * @param {Differing[]} found
 * @returns {Promise<boolean>} */
export function consent(form, found) {
  const yes = made("button", { type: "button" }, "Sign it and send it");
  const no = made("button", { type: "button", class: "plain" }, "Do not send it");
  const about = { class: "message", role: "group", tabindex: "-1", "data-of-signing": "" };
  const region = made(
    "div",
    { ...about, "aria-label": "Before it is signed" },
    made("p", {}, "Before it is signed: this is not just as you typed it."),
    listed(found),
    made("p", { class: "actions" }, yes, " ", no),
  );
  show(form, region);
  return new Promise((resolve) => {
    for (
      const [button, answer] of /** @type {[HTMLElement, boolean][]} */ ([[yes, true], [no, false]])
    ) {
      button.addEventListener("click", () => {
        region.remove();
        resolve(answer);
      });
    }
  });
}
