// Elements of a page. Texts are set as text, never as markup.

/** @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {string} [text]
 * @param {string} [className]
 * @returns {HTMLElementTagNameMap[T]} */
export function made(tag, text = "", className = "") {
  const element = document.createElement(tag);
  element.textContent = text;
  if (className) element.className = className;
  return element;
}
