/* One's own animals: to log a check of one, or to report what a veterinarian or laboratory found. */

import { finder, h } from "../app/dom.js";
import { callsOn, OWN, ownAnimals, state } from "../app/state.js";
import { words } from "../pure/outbox.js";
import { find, read, title } from "../pure/search.js";
import { pairingsWith, withWhom } from "../pure/season.js";
import { all } from "../store/db.js";
import { checkedLine, unfit, unfitMark } from "./proved.js";
import { about, standing } from "./sheet.js";

const SHOWN = 25; // at a time: more are searched, not read

export async function own() {
  let animals = await living();
  let asOf = state.refreshed;
  const rows = h("ul", { class: "animals" });
  const count = h("p", { class: "fine", role: "status" });
  let typed = "";
  const seen = h("p", { class: "fine" });
  /** @type {string | null} */
  let shown = null;
  const show = () => {
    const found = find(animals, typed);
    const first = found.slice(0, SHOWN);
    const look = JSON.stringify([typed, first, first.map(mark)]);
    if (look !== shown) rows.replaceChildren(...first.map((one) => row(one, typed)));
    shown = look; // else a tap that is under way would miss
    count.textContent = found.length > SHOWN
      ? `${SHOWN} of ${found.length} shown: type more of a tag, transponder or name.`
      : `${found.length} of ${animals.length} animals`;
  };
  const check = async () => {
    const proved = new Map((await all("proved")).map((one) => [one.id, one]));
    seen.textContent = checkedLine(animals, proved);
  };
  const renew = async () => {
    asOf = state.refreshed; // thousands are read anew once a turn at most
    animals = await living();
    show();
    await check();
  };
  show();
  check();
  return {
    title: "Animals",
    update: () => {
      if (state.refreshed === asOf) show();
      else renew();
      return true;
    },
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Animals"),
      h(
        "p",
        { class: "fine" },
        "Log a check of yours, or report what a veterinarian, a laboratory or an earlier keeper found.",
      ),
      h("p", { class: "actions" }, h("a", { class: "button plain", href: "#/hatch" }, "Hatch day")),
      finder((wanted) => {
        typed = wanted;
        show();
      }),
      count,
      rows,
      seen,
    ),
  };
}

const living = async () => (await ownAnimals()).filter(({ ended }) => !ended);

/** What a row shows beside its animal.
    @param {Animal} animal */
const mark = (animal) => [
  callsOn(animal.id, OWN.id).map(words),
  unfitMark(animal),
  pairingsWith(state.season, animal.id),
];

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
    unfit(animal),
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
      pairingsWith(state.season, animal.id).map((one) =>
        h("a", { href: `#/season/${one.id}` }, `Season ${one.season} ${withWhom(one, animal.id)}`)
      ),
    ),
  );
}
