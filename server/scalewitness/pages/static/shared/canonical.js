// Canonical JSON (RFC 8785): one spelling for each value, so that signatures can be checked.

/** The canonical text of a plain value. Throws TypeError for what JSON cannot hold.
 * @param {unknown} value
 * @returns {string} */
export function canonical(value) {
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "number") return number(value);
  if (typeof value === "string") return text(value);
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (typeof value === "object") return members(/** @type {Record<string, unknown>} */ (value));
  throw new TypeError(`JSON has no ${typeof value}`);
}

/** @param {number} value */
function number(value) {
  if (!Number.isFinite(value)) throw new TypeError("JSON has finite numbers only");
  return JSON.stringify(value); // as ECMAScript writes it, which is what the RFC asks for
}

/** @param {string} value */
function text(value) {
  if (/\p{Surrogate}/u.test(value)) throw new TypeError("the text holds a lone surrogate");
  return JSON.stringify(value);
}

/** @param {Record<string, unknown>} value
 * @returns {string} */
function members(value) {
  const names = Object.keys(value).sort(); // by UTF-16 code units
  return `{${names.map((name) => `${text(name)}:${canonical(value[name])}`).join(",")}}`;
}
