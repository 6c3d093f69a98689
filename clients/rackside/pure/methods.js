/* What each way of finding out asks, in the words of `domain/observations.py`. */

const options = (...pairs) => pairs;

export const CONCLUSIONS = options(
  ["male", "Male"],
  ["female", "Female"],
  ["undetermined", "Could not tell"],
);
export const SURENESS = options(
  ["certain", "Certain"],
  ["fairly_sure", "Fairly sure"],
  ["unsure", "Unsure"],
);
export const STOPPED = options(
  ["resistance", "Resistance"],
  ["choice", "I stopped"],
  ["aborted", "Broken off"],
);
export const HELD_BY = options(
  ["second_person", "A second person"],
  ["keeper", "Its keeper"],
  ["examiner", "I did"],
  ["sedated", "It was sedated"],
  ["not_held", "Nobody"],
);
export const HARM = options(
  ["bleeding", "Bleeding"],
  ["swelling", "Swelling"],
  ["discharge", "Discharge"],
  ["straining", "Straining"],
  ["prolapse", "Prolapse"],
  ["other", "Something else"],
);
export const IDENTIFIED = options(
  ["tag", "Tag read"],
  ["transponder", "Transponder read"],
  ["scale_photo", "Scale photo"],
  ["keeper_said", "Keeper told me"],
  ["appearance", "By its looks"],
);
export const TOLD = options(["no", "Nobody"], ["male", "Told male"], ["female", "Told female"]);
export const MEAL = options(
  ["under_48", "Under 48 h"],
  ["under_72", "48 to 72 h"],
  ["longer", "Longer"],
  ["unknown", "Not known"],
);
export const SHED = options(["opaque", "Opaque"], ["clear", "Clear again"], ["none", "No"]);

const YES_NO = options(["yes", "Yes"], ["no", "No"]);

/** Method → title and questions besides the passes; an answer `count` is a whole number. */
export const METHODS = {
  probing: { title: "Probing", asks: [] },
  eversion: {
    title: "Eversion",
    asks: [
      ["manner", "How", options(["manual", "By hand"], ["spontaneous", "Of its own accord"])],
      [
        "seen",
        "What came out",
        options(
          ["hemipenes", "Hemipenes"],
          ["nothing", "Nothing"],
          ["unclear", "Unclear"],
        ),
      ],
    ],
  },
  visual: {
    title: "By looks",
    asks: [[
      "feature",
      "What you looked at",
      options(
        ["tail", "Tail"],
        ["spurs", "Spurs"],
        ["size", "Size"],
        ["slough_plugs", "Plugs in the slough"],
        ["other", "Something else"],
      ),
    ]],
  },
  scale_count: { title: "Scale count", asks: [["subcaudals", "Subcaudal scales", "count"]] },
  ultrasound: {
    title: "Ultrasound",
    asks: [[
      "seen",
      "What you saw",
      options(
        ["hemipenes", "Hemipenes"],
        ["testes", "Testes"],
        ["ovaries", "Ovaries"],
        ["follicles", "Follicles"],
        ["pockets", "Pockets"],
        ["unclear", "Unclear"],
      ),
    ]],
  },
  radiography: {
    title: "X-ray",
    asks: [
      ["contrast", "With contrast", YES_NO],
      [
        "seen",
        "What you saw",
        options(
          ["hemipenes", "Hemipenes"],
          ["none", "None"],
          ["unclear", "Unclear"],
        ),
      ],
    ],
  },
  reproduction: {
    title: "Eggs or young",
    asks: [
      ["event", "What happened", options(["laid_eggs", "Laid eggs"], ["gave_birth", "Gave birth"])],
      ["witnessed", "Did you see it", YES_NO],
    ],
  },
};

/** Methods that lay hands on the animal: somebody holds it. */
export const HANDS_ON = ["probing", "eversion", "scale_count", "ultrasound", "radiography"];

export const named = (pairs, value) => pairs.find(([key]) => key === value)?.[1] ?? value;
