/* A whole rack fed in one go: every row is preset, a tap on it says otherwise, one button stores
   them all. */

import { note, statedOf } from "../app/caring.js";
import { fresh, h } from "../app/dom.js";
import { awaitsBlind, now, ownAnimals } from "../app/state.js";
import { counted, NEXT, notes, preset } from "../pure/care.js";
import { rackOf } from "../pure/places.js";
import { title } from "../pure/search.js";
import { factsOf } from "../store/facts.js";

/** @import { Fed } from "../pure/care.js" */

/** @type {Record<Fed, string>} */
const WORDS = { taken: "Taken", refused: "Refused", left: "Not fed" };

/** @param {{ name: string }} where */
export async function rack({ name: here }) {
  const animals = (await ownAnimals()).filter((one) =>
    !one.ended && one.rack && rackOf(one.rack) === here
  );
  if (!animals.length) return empty();
  /** @type {Map<string, Fed>} */
  const said = new Map(); // what was tapped; all else follows what is noted
  /** @type {Map<string, { fed: Fed, why: string }>} */
  let presets = new Map();
  const rows = new Map(animals.map((one) => [one.id, row(one, () => tapped(one.id))]));
  const save = h("button", { type: "button", onclick: () => store() });
  const fedOf = (/** @type {string} */ id) => said.get(id) ?? presets.get(id)?.fed ?? "left";
  const show = () => {
    rows.forEach(({ button, why }, id) => {
      button.dataset.fed = fedOf(id);
      button.textContent = WORDS[fedOf(id)];
      why.textContent = presets.get(id)?.why ?? "";
    });
    const fed = animals.map(({ id }) => fedOf(id));
    save.textContent = `Save: ${counted(fed)}`;
    save.disabled = fed.every((one) => one === "left");
  };
  const tapped = (/** @type {string} */ id) => {
    said.set(id, NEXT[fedOf(id)]);
    show();
  };
  const reread = async () => {
    const found = await Promise.all(animals.map(({ id }) => factsOf(id)));
    presets = new Map(
      animals.map(({ id }, at) => [id, preset(notes(found[at], statedOf(id)), now())]),
    );
    show();
  };
  const store = async () => {
    const given = animals.flatMap((animal) => {
      const fed = fedOf(animal.id);
      return fed === "left"
        ? []
        : [{ animal, noted: { type: /** @type {const} */ ("meal"), taken: fed === "taken" } }];
    });
    save.disabled = true;
    const words = counted(given.map(({ animal }) => fedOf(animal.id)));
    await note(given, { said: `${here}: ${words}, saved here.`, hash: "#/own" });
    show();
  };
  await reread();
  return {
    title: `Feed ${here}`,
    update: () => {
      if (awaitsBlind(animals.map(({ id }) => id))) return false;
      reread();
      return true;
    },
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, `Feed ${here}`),
      h(
        "p",
        { class: "fine" },
        "Tap what is otherwise: refused, or not fed. Nothing is noted of those.",
      ),
      h("ul", { class: "fed" }, [...rows.values()].map(({ node }) => node)),
      h("div", { class: "bar" }, save),
    ),
  };
}

/** @param {Animal} animal
    @param {() => void} tapped */
function row(animal, tapped) {
  const id = fresh("fed");
  const why = h("span", { class: "fine" });
  const button = h("button", { type: "button", "aria-describedby": id, onclick: tapped });
  const name = [animal.rack, title(animal), animal.name].filter(Boolean).join(" · ");
  return { node: h("li", {}, h("p", { id }, name, why), button), button, why };
}

function empty() {
  return {
    title: "Not here",
    node: h(
      "section",
      {},
      h("h1", { tabindex: "-1" }, "Not here"),
      h("p", {}, "No animal of yours is noted in this rack."),
      h("p", {}, h("a", { href: "#/own" }, "Animals")),
    ),
  };
}
