/* One's own animals: to log a check of one, or to report what a veterinarian or laboratory found. */

import { finder, h } from "../app/dom.js";
import { callsOn, OWN, ownAnimals } from "../app/state.js";
import { words } from "../pure/outbox.js";
import { find, read, title } from "../pure/search.js";
import { about, standing } from "./sheet.js";

const SHOWN = 25; // at a time: more are searched, not read

export async function own() {
  const animals = (await ownAnimals()).filter(({ ended }) => !ended);
  const rows = h("ul", { class: "animals" });
  const count = h("p", { class: "fine", role: "status" });
  let typed = "";
  const show = () => {
    const found = find(animals, typed);
    rows.replaceChildren(...found.slice(0, SHOWN).map((one) => row(one, typed)));
    count.textContent = found.length > SHOWN
      ? `${SHOWN} of ${found.length} shown: type more of a tag, transponder or name.`
      : `${found.length} of ${animals.length} animals`;
  };
  show();
  return {
    title: "Your own animals",
    update: () => true, // shown anew when it is opened
    node: h(
      "section",
      {},
      h("p", { class: "trail" }, h("a", { href: "#/" }, "Visits")),
      h("h1", { tabindex: "-1" }, "Your own animals"),
      h(
        "p",
        { class: "fine" },
        "Log a check of yours, or report what a veterinarian, a laboratory or an earlier keeper found.",
      ),
      finder((wanted) => {
        typed = wanted;
        show();
      }),
      count,
      rows,
    ),
  };
}

/** @param {Animal} animal
    @param {string} typed */
function row(animal, typed) {
  const found = read(animal, typed);
  const where = `#/log/${OWN.id}/${animal.id}${found ? `?read=${found.scheme}` : ""}`;
  return h(
    "li",
    { class: "card" },
    h("h2", {}, title(animal)),
    h("p", { class: "fine" }, [animal.name, about(animal)].filter(Boolean).join(" · ")),
    animal.standing && standing(animal.standing),
    callsOn(animal.id, OWN.id).map((one) =>
      h("p", { class: "state", "data-state": one.state }, `Your call: ${words(one)}`)
    ),
    h(
      "p",
      { class: "actions" },
      h("a", {
        class: "button",
        href: where,
        "aria-label": `Log a call on ${title(animal)}`,
      }, "Log a call"),
    ),
  );
}
