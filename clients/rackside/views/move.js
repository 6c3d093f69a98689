/* Another tub for one of one's own animals: rack and number by our own keys, or the place written
   out. */

import { choice, h, line } from "../app/dom.js";
import { keypad } from "../app/keypad.js";
import { move as store, undecided } from "../app/moving.js";
import { awaitsBlind, ownAnimal, ownAnimals, state } from "../app/state.js";
import { placeIn, racksOf, tubOf } from "../pure/moving.js";
import { rackOf } from "../pure/places.js";
import { title } from "../pure/search.js";
import { isBlind } from "../pure/sight.js";
import { gone, titleLink } from "./animal.js";

const LONGEST = 40; // characters of a place, as the record takes

/** `from`: the entry that is changed by it.
    @param {{ id: string, from?: string }} where */
export async function move({ id, from }) {
  const animal = await ownAnimal(id);
  if (!animal || isBlind(animal)) return gone();
  const others = (await ownAnimals()).filter((one) => one.id !== id && !one.ended);
  const places = others.map(({ rack }) => rack ?? "").filter(Boolean);
  const refused = undecided(id, from);
  const before = state.outbox.find((one) => one.id === from)?.fact.body.rack;
  const start = before ?? animal.rack ?? "";
  let [rack, tub, place] = [rackOf(start), tubOf(start), start];
  const said = h("p", { role: "status" });
  const written = line({
    name: "place",
    label: "Place",
    value: place,
    maxlength: LONGEST,
    autocomplete: "off",
    oninput: ({ target }) => told(target.value.trim()),
  });
  const told = (/** @type {string} */ made) => {
    place = made;
    const held = made ? others.filter((one) => one.rack === made).map(title) : [];
    said.textContent = held.length
      ? `${held.join(", ")} ${held.length === 1 ? "is" : "are"} noted at ${made} too.`
      : "";
  };
  const composed = () => {
    const made = placeIn(rack, tub, places);
    /** @type {HTMLInputElement} */ (written.querySelector("input")).value = made;
    told(made);
  };
  const racks = racksOf([...places, start]);
  told(place);
  return {
    title: "Move",
    update: () => !awaitsBlind([animal.id]),
    node: h(
      "section",
      { class: "one-note" },
      h("h1", { tabindex: "-1" }, "Move ", titleLink(animal)),
      refused && h("p", { class: "refused" }, refused.problem?.detail ?? ""),
      h("p", {}, animal.rack ? `It is noted at ${animal.rack}.` : "No place of it is noted."),
      racks.length > 0 && choice({
        name: "rack",
        legend: "Rack",
        options: racks.map((one) => [one, one]),
        value: rack,
        onpick: (picked) => {
          rack = picked;
          tub = "";
          composed();
        },
      }),
      racks.length > 0 && keypad({
        name: "tub",
        label: "Tub",
        value: tub,
        step: 1,
        most: 999,
        close: true,
        oninput: (typed) => {
          tub = typed;
          composed();
        },
      }),
      written,
      said,
      h(
        "div",
        { class: "bar" },
        h("button", {
          type: "button",
          onclick: () => {
            if (place === (animal.rack ?? "") && !refused) location.hash = `#/own/${id}`;
            else store(animal, place, refused);
          },
        }, "Save the place"),
      ),
    ),
  };
}
