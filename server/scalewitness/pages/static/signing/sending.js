// Forms that state facts, signed on their way: the record is asked what a form would state, that is
// held to the form, signed, and sent with it. Where there is nothing to sign the form goes as ever.

import { hex, sha256 } from "../shared/bytes.js";
import { agreement } from "./agreeing.js";
import { alarm, consent } from "./asking.js";
import { signed } from "./statement.js";

const ASKING = "Scalewitness-To-Sign";
const FIELD = "signed";
const LONG = 32; // characters that nobody has in a form by chance
const OF_BROWSERS = "device_key_enrolled"; // with a key that is not in force yet: this_browser.js

/** @type {WeakSet<HTMLFormElement>} */
const passing = new WeakSet();
/** @type {WeakSet<HTMLFormElement>} */
const busy = new WeakSet();

/** @param {BrowserKey} key */
export function signWith(key) {
  document.addEventListener("submit", (event) => {
    const form = /** @type {HTMLFormElement} */ (event.target);
    if (!form.dataset.says || form.dataset.says === OF_BROWSERS) return;
    take(event, form, () => Promise.resolve(key));
  });
}

/** Signs what is being sent, with the key that `readied` gives; null: it is not to be sent.
 * @param {SubmitEvent} event
 * @param {HTMLFormElement} form
 * @param {() => Promise<BrowserKey | null>} readied */
export function take(event, form, readied) {
  if (passing.delete(form) || event.defaultPrevented) return;
  event.preventDefault();
  if (busy.has(form)) return;
  busy.add(form);
  const submitter = /** @type {HTMLElement | null} */ (event.submitter);
  sign(form, submitter, readied)
    .then((sent) => {
      if (!sent) return;
      passing.add(form);
      form.requestSubmit(submitter);
    })
    .finally(() => busy.delete(form));
}

/** Whether the form is to be sent now, signed or as it is.
 * @param {HTMLFormElement} form
 * @param {HTMLElement | null} submitter
 * @param {() => Promise<BrowserKey | null>} readied */
async function sign(form, submitter, readied) {
  form.querySelector(`input[name=${FIELD}]`)?.remove(); // of an earlier time, as after the way back
  form.querySelector("[data-of-signing]")?.remove();
  const key = await readied();
  if (!key) return false;
  const data = new FormData(form, submitter);
  const answer = await toSign(submitter?.getAttribute("formaction") ?? form.action, data, key);
  if (typeof answer === "string") {
    alarm(form, answer, []);
    return false;
  }
  if (!answer) return true;
  if (answer.keeper !== key.keeper) {
    alarm(form, "By now somebody else is signed in on this browser. Open this page anew.", []);
    return false;
  }
  const { wrong, asked } = agreement(answer.facts, await sentBy(form, data, key));
  if (wrong.length) {
    alarm(form, DIFFERS, wrong);
    return false;
  }
  if (asked.length && !await consent(form, asked)) return false;
  /** @type {Record<string, unknown>} */
  const facts = {};
  for (const one of answer.facts) facts[one.id] = await signed(key, one);
  const field = document.createElement("input");
  Object.assign(field, { type: "hidden", name: FIELD });
  field.value = JSON.stringify({ device: key.device, facts });
  form.append(field);
  return true;
}

const DIFFERS =
  "Not signed, and not sent: what the record would put in the log is not what this form says. Do " +
  "not send it from here. Tell whoever runs the record, and use your phone or the command.";

const UNSAID =
  "Not signed, and not sent: there was no answer to what is to be signed. What you typed is still " +
  "here; send it again.";

/** Null where there is nothing to sign; what then is sent is answered as ever. A sentence where the
 * record is out of reach or in trouble: the form must not go unsigned for that.
 * @param {string} address
 * @param {FormData} body
 * @param {BrowserKey} key
 * @returns {Promise<{ keeper: string, facts: Unsigned[] } | string | null>} */
async function toSign(address, body, key) {
  try {
    const headers = { [ASKING]: key.device };
    const answer = await fetch(address, { method: "POST", body, headers, redirect: "error" });
    if (answer.status === 429 || answer.status >= 500) return UNSAID;
    return answer.status === 200 ? await answer.json() : null;
  } catch {
    return UNSAID;
  }
}

/** @param {HTMLFormElement} form
 * @param {FormData} data
 * @param {BrowserKey} key
 * @returns {Promise<SentForm>} */
async function sentBy(form, data, key) {
  /** @type {[string, string][]} */
  const sent = [];
  for (const [name, value] of data) sent.push([name, await written(value)]);
  const hidden = new Set(
    [...form.querySelectorAll("input[type=hidden], input[type=search], button")]
      .map((one) => one.getAttribute("name")),
  );
  return {
    sent,
    typed: sent.filter(([name]) => !hidden.has(name)),
    says: (form.dataset.says ?? "").split(" "),
    address: new URL(form.action).pathname,
    keeper: key.keeper,
    shown: shown(),
  };
}

/** What its links lead to, and long words such as fingerprints. */
function shown() {
  const links = [...document.querySelectorAll("main a[href]")]
    .flatMap((one) => (one.getAttribute("href") ?? "").split(/[/?#=&]/));
  const words = (document.querySelector("main")?.textContent ?? "").split(/\s+/);
  return [...links, ...words.filter((one) => one.length >= LONG)];
}

/** Of a file its fingerprint, which is all that goes on record of one.
 * @param {FormDataEntryValue} value */
async function written(value) {
  if (typeof value === "string") return value;
  if (!value.size) return "";
  return hex(await sha256(new Uint8Array(await value.arrayBuffer())));
}
