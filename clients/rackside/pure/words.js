/* The words of a check. Made by ./deploy/words from server/scalewitness/domain: change them there.

   A choice is [word of the log, what people read]; a question [name, label, choices or kind,
   whether it may be left out, the most and the least of a count other than 400 and 0]. `atRack`:
   a guest can do it too; `onlyOfA`: whose alone it is, and as whose it is reported. */

/** @typedef {[string, string]} Choice */
/** @typedef {Choice[] | "count" | "yes_or_no" | "text"} Answers */
/** @typedef {[string, string, Answers, boolean?, number?, number?]} Question */
/** @typedef {{
      title: string, handsOn: boolean, atRack: boolean, onlyOfA: string | null, asks: Question[],
    }} Method */

/** @type {Choice[]} */
export const CONCLUSIONS = [
  ["male", "Male"],
  ["female", "Female"],
  ["undetermined", "Could not tell"],
];

/** @type {Choice[]} */
export const SURENESS = [
  ["certain", "Certain"],
  ["fairly_sure", "Fairly sure"],
  ["unsure", "Unsure"],
];

/** @type {Choice[]} */
export const STOPPED = [
  ["resistance", "Resistance"],
  ["choice", "I stopped"],
  ["aborted", "Broken off"],
];

/** @type {Choice[]} */
export const HELD_BY = [
  ["second_person", "A second person"],
  ["keeper", "Its keeper"],
  ["examiner", "I did"],
  ["sedated", "It was sedated"],
  ["not_held", "Nobody"],
];

/** @type {Choice[]} */
export const HARM = [
  ["bleeding", "Bleeding"],
  ["swelling", "Swelling"],
  ["discharge", "Discharge"],
  ["straining", "Straining"],
  ["prolapse", "Prolapse"],
  ["other", "Something else"],
];

/** @type {Choice[]} */
export const IDENTIFIED = [
  ["tag", "Tub tag read"],
  ["transponder", "Transponder read"],
  ["scale_photo", "Scale photo"],
  ["keeper_said", "Keeper told me"],
  ["appearance", "By its looks"],
];

/** @type {Choice[]} */
export const TOLD = [
  ["no", "Nobody"],
  ["male", "Told male"],
  ["female", "Told female"],
];

/** @type {Choice[]} */
export const REPORTED = [
  ["veterinarian", "A veterinarian's"],
  ["laboratory", "A laboratory's"],
  ["earlier_keeper", "An earlier keeper's"],
];

/** @type {Choice[]} */
export const MEAL = [
  ["under_48", "Under 48 h"],
  ["under_72", "48 to 72 h"],
  ["longer", "Longer"],
  ["unknown", "Not known"],
];

/** @type {Choice[]} */
export const SHED = [
  ["opaque", "Opaque"],
  ["clear", "Clear again"],
  ["none", "No"],
];

/** @type {Record<string, Method>} */
export const METHODS = {
  probing: {"title": "Probing", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": []},
  eversion: {"title": "Everting", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": [["manner", "How", [["manual", "By hand"], ["spontaneous", "Of its own accord"]]], ["seen", "What came out", [["hemipenes", "Hemipenes"], ["nothing", "Nothing"], ["unclear", "Unclear"]]]]},
  ultrasound: {"title": "Ultrasound", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": [["seen", "What you saw", [["hemipenes", "Hemipenes"], ["testes", "Testes"], ["ovaries", "Ovaries"], ["follicles", "Follicles"], ["pockets", "Pockets"], ["unclear", "Unclear"]]]]},
  radiography: {"title": "X-ray", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": [["contrast", "With contrast", "yes_or_no"], ["seen", "What you saw", [["hemipenes", "Hemipenes"], ["none", "None"], ["unclear", "Unclear"]]]]},
  endoscopy: {"title": "Endoscopy or dissection", "handsOn": true, "atRack": false, "onlyOfA": null, "asks": [["seen", "What was seen", [["testes", "Testes"], ["ovaries", "Ovaries"], ["both", "Both"], ["unclear", "Unclear"]]], ["post_mortem", "After death", "yes_or_no"]]},
  dna: {"title": "DNA test", "handsOn": false, "atRack": false, "onlyOfA": null, "asks": [["system", "Sex chromosomes", [["XY", "XY: the male has two kinds"], ["ZW", "ZW: the female has two kinds"]]], ["sample", "Sample", [["shed", "Shed skin"], ["blood", "Blood"], ["swab", "Swab"], ["tissue", "Tissue"]]], ["found", "Found", [["heterogametic", "Two kinds of sex chromosome"], ["homogametic", "One kind of sex chromosome"], ["failed", "The test failed"]]], ["marker", "Marker", "text", true], ["replicates", "Times run", "count", true, 96, 1], ["failed_controls", "Controls that failed", "count", true, 96]]},
  reproduction: {"title": "Eggs or young", "handsOn": false, "atRack": true, "onlyOfA": null, "asks": [["event", "What happened", [["laid_eggs", "Laid eggs"], ["gave_birth", "Gave birth"]]], ["witnessed", "Did you see it", "yes_or_no"], ["count", "How many", "count", true]]},
  parentage: {"title": "Parentage test", "handsOn": false, "atRack": false, "onlyOfA": "laboratory", "asks": [["found", "Found", [["sire", "Father"], ["not_sire", "Not the father"], ["dam_alone", "Mother, no father"], ["failed", "The test failed"]]], ["young", "Young tested", "count", false, 400, 1], ["other_males_excluded", "Other males ruled out", "yes_or_no"], ["stored_sperm_excluded", "Stored sperm ruled out", "yes_or_no"], ["parthenogenesis_excluded", "Young without a father ruled out", "yes_or_no"]]},
  scale_count: {"title": "Scale count", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": [["subcaudals", "Subcaudal scales", "count"], ["ventrals", "Ventral scales", "count", true]]},
  tail_length: {"title": "Tail length", "handsOn": true, "atRack": true, "onlyOfA": null, "asks": [["tail_mm", "Tail, mm", "count", false, 12000, 1], ["total_mm", "Whole length, mm", "count", false, 12000, 1]]},
  visual: {"title": "Looks", "handsOn": false, "atRack": true, "onlyOfA": null, "asks": [["feature", "What you looked at", [["tail", "Tail"], ["spurs", "Spurs"], ["size", "Size"], ["slough_plugs", "Plugs on the shed skin"], ["mating", "A mating"], ["other", "Something else"]]]]},
  statement: {"title": "A statement", "handsOn": false, "atRack": false, "onlyOfA": null, "asks": [["source", "Who said so", [["seller", "The seller I had it from"], ["earlier_keeper", "An earlier keeper"], ["papers", "Papers that came with it"]]]]},
};

/** @type {Record<string, string[]>} */
export const CONCLUDED_OF_EVERTED = {
  hemipenes: ["male", "undetermined"],
  nothing: ["female", "undetermined"],
  unclear: ["undetermined"],
};

/** @type {Record<string, string>} */
export const PROVED_BY = {
  sire: "male",
  dam_alone: "female",
};

export const YOUR_WORD = "Until they confirm it, or somebody without a share in the animal confirms what they read or saw, it is your word and verifies nothing.";

/** @type {string[]} */
export const BEFORE_A_CHECK = [
  "Never push. Let the probe glide and stop at resistance.",
  "Lubricate, and choose the probe for the size of the animal; too thin a probe misleads and pierces.",
  "Probe both sides and note each by itself.",
  "Not soon after a meal, in shed, when gravid, ill or too small.",
  "Have a second person hold a large or tense animal.",
  "Clean and disinfect hands and instruments between animals.",
  "Bleeding, swelling or prolapse: stop, and see a veterinarian for reptiles.",
  "Unsure or unsteady: leave it to an experienced keeper or a veterinarian.",
  "Local wildlife, welfare and consumer law come before anything said here.",
];

export const CAUTIONS = {
  ended: {"died": "Its keeper says that the animal died.", "lost": "Its keeper says that the animal is lost.", "stolen": "Its keeper says that the animal was stolen."},
  hold_off: "The keeper asks everyone to leave this animal alone for now.",
  harm: "Bleeding, swelling or prolapse: stop, and see a veterinarian for reptiles.",
  reported: {"under_48": "Fed less than 48 hours ago: wait.", "under_72": "Fed 48 to 72 hours ago: better wait a day."},
  fed: "It was fed less than 72 hours ago: wait.",
  opaque: "It is in shed (opaque): wait until it has shed.",
  no_weight: "No weight is noted: look at its size before you choose a probe, or let it be.",
  small: "It is small ({weight}): leave it if the smallest probe would need any force.",
  old_weight: "Its last weight is more than 60 days old.",
  alone: "Nobody else holds it: have a second person for a large or tense animal.",
  yolk: "The yolk may not be taken up yet: leave them in peace until each belly is flat and the navel is closed.",
  first_shed: "Better wait until each has shed for the first time, mostly one to two weeks after hatching or birth: before that the skin tears easily.",
};

export const LIMITS = {
  meal_hours: 72,
  weight_days: 60,
  small_grams: 100,
  yolk_days: 2,
  first_shed_days: 14,
  held_alone: ["examiner", "not_held"],
  holds_off: ["gravid", "ill", "injured", "under_treatment"],
};

/** @type {[string, string, string[], string][]} */
export const SEASON = [
  ["put_together", "put together", [], "Only animals that are well, fed and of full weight, and never one that was brought in without its weeks apart first. Look after them often; take them apart if they fight or one is bitten."],
  ["seen_together", "seen together", [], ""],
  ["apart", "apart", [], ""],
  ["ovulation", "ovulation seen", [], "From now on leave her alone as far as you can: no probe, no eversion, no lifting by the middle of the body."],
  ["shed_before_laying", "shed before laying or birth", [], "She needs a warm, moist and quiet place now, and no check at all. If she strains and nothing comes, or a lump stays, see a veterinarian for reptiles the same day."],
  ["laid", "eggs laid", ["good", "slugs"], "Do not turn eggs that have lain for a day. She is thin now: water first, then small meals. If eggs seem to be left inside, see a veterinarian for reptiles."],
  ["incubating", "in the incubator", ["celsius"], ""],
  ["hatched", "hatched", ["young", "dead_in_shell"], "Let them leave the egg by themselves; the yolk is taken up within a day or two."],
  ["born", "young born", ["live", "stillborn", "slugs"], "If she strains on without bearing, see a veterinarian for reptiles the same day."],
];

/** @type {Record<string, string>} */
export const COUNTS = {
  good: "Good eggs",
  slugs: "Slugs",
  young: "Young out of the egg",
  dead_in_shell: "Dead in the shell",
  live: "Live young",
  stillborn: "Stillborn",
  celsius: "Temperature in °C",
};

/** @type {Record<string, string[]>} */
export const OFFERED = {
  eggs: ["put_together", "seen_together", "apart", "ovulation", "shed_before_laying", "laid", "incubating", "hatched"],
  live: ["put_together", "seen_together", "apart", "ovulation", "shed_before_laying", "born"],
  unknown: ["put_together", "seen_together", "apart", "ovulation", "shed_before_laying", "laid", "incubating", "hatched", "born"],
};

/** @type {Record<string, number>} */
export const DEEPEST_KNOWN = {
  boa_constrictor: 9,
  boa_imperator: 9,
  epicrates_cenchria: 12,
  heterodon_nasicus: 12,
  lampropeltis_getula: 14,
  lampropeltis_triangulum: 14,
  morelia_spilota: 12,
  pantherophis_guttatus: 14,
  pantherophis_obsoletus: 14,
  python_brongersmai: 12,
  python_regius: 10,
  serpentes: 16,
};
