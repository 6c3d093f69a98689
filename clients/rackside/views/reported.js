/* A check of somebody else's, which the animal's keeper reports. */

import { group, h } from "../app/dom.js";
import { state } from "../app/state.js";
import { whose } from "../pure/call.js";
import * as m from "../pure/words.js";

/** Whose check it was, and what they wrote; not there where a method has no such thing.
    @param {CallForm} form
    @param {PickOf} pick
    @param {TypeOf} type
    @param {() => void} change */
export function reported(form, pick, type, change) {
  const known = h(
    "datalist",
    { id: "named" },
    state.named.map((one) => h("option", { value: one.name })),
  );
  const rest = h(
    "div",
    {},
    type("whose_name", "Their name", {
      autocomplete: "off",
      maxlength: 120,
      list: "named",
      help: `Kept out of the log; buyers see the role only. ${m.YOUR_WORD}`,
    }),
    known,
    type("document", "Fingerprint of the written report, if there is one", {
      autocomplete: "off",
      autocapitalize: "off",
      help: "Its SHA-256, 64 hexadecimal digits. Keep the file yourself.",
    }),
  );
  const asked = pick("whose", "Whose check was it", [["", "My own"], ...m.REPORTED], {
    onpick: (value) => {
      form.whose = value;
      show();
      change();
    },
  });
  const node = group("Who made it", asked, rest);
  const show = () => {
    node.hidden = form.method === "statement";
    asked.hidden = Boolean(m.METHODS[form.method].onlyOfA);
    rest.hidden = !whose(form);
  };
  return { node, show };
}
