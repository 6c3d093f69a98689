"""Plain words for single findings, weights and chances. No name ever enters them."""

from math import floor

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Observation,
    Parentage,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    TailLength,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.weighed import WeighedCall

_CODES = {
    "depths_read": "The depth was compared with what is known of this species.",
    "partly_too_deep": (
        "The depth was compared with what is known of this species. A depth that no snake of it "
        "is known to come near says nothing."
    ),
    "finding_read": "The observation was compared with how often it occurs in each sex.",
    "conclusion_only": "Only the conclusion was reported, so it counts as reported.",
    "depths_not_known": (
        "How deep both sexes of this species probe is not known, so the conclusion counts "
        "as reported and the depth does not."
    ),
    "undetermined": "The examiner came to no conclusion, so it says nothing either way.",
    "atypical": "Organs of both sexes say that it is neither, so they speak for no sex.",
    "all_aborted": "Every pass was broken off, so the depths say nothing.",
    "conflict": "What was seen points one way and the conclusion the other, so it says nothing.",
    "midway": "The depths lie between what is usual in either sex, so it says nothing.",
    "too_deep": "No snake of this species is known to probe nearly so deep, so it says nothing.",
    "other_animal": "The code read at the time is not this animal's, so it says nothing about it.",
    "denied": "Whoever is quoted says that it was not so, so it says nothing.",
    "deep_in_other_sex": (
        "The depth is usual for the other sex in this species, and no depth is known for the "
        "sex concluded, so it says nothing."
    ),
    "parentage_open": (
        "Something else could explain it and was not ruled out, so by itself it settles nothing."
    ),
    "not_the_father": "That it is not the father of these young says nothing about its sex.",
    "controls_failed": "Controls of the test failed, so its result says nothing.",
    "sex_system_unknown": (
        "It is not known which sex chromosomes this species has, so a DNA test is no evidence."
    ),
    "wrong_sex_system": "The test looks for sex chromosomes this species does not have.",
    "no_dna_test": (
        "No DNA test has been shown to tell the sexes of this species apart, so it is no evidence."
    ),
    "assay_failed": "The test gave no result.",
    "unclear": "What was seen was unclear, so it says nothing.",
    "no_scale_ranges": "No scale counts by sex are known for this species, so it says nothing.",
    "scales_disagree": "One count points to one sex and one to the other, so they say nothing.",
    "no_tails": "Tails of both sexes of this species are not on record, so it says nothing.",
    "scale_overlap": "This count occurs in both sexes, so it says nothing.",
    "says_nothing": "This observation is not known to tell the sexes apart.",
}

_ANCHORED = {
    True: "The examiner knew that answer beforehand, so agreeing with it counts for much less.",
    False: "The examiner knew the other answer beforehand and still disagreed with it.",
}

_MAY_HAVE_HEARD = (
    "In this record some who are said to be blind repeat what was said before; this one may have."
)

_SIDES = {
    True: "Left and right differ little, which counts slightly for male.",
    False: "Left and right differ, which counts for female.",
}
_SEEN = {
    "hemipenes": "hemipenes, the male organs",
    "testes": "testes",
    "ovaries": "ovaries",
    "both": "organs of both sexes",
    "follicles": "egg follicles",
    "pockets": "female pockets",
    "nothing": "nothing come out",
    "none": "no hemipenes",
    "unclear": "nothing clear",
}
_FEATURES = {
    "tail": "the shape of the tail",
    "spurs": "the spurs",
    "size": "the size",
    "slough_plugs": "plugs on the shed skin",
    "mating": "its part in a mating",
    "other": "outward features",
}
_SOURCES = {
    "seller": "Passed on what a seller said",
    "earlier_keeper": "Passed on what an earlier keeper said",
    "papers": "Passed on what papers with the animal said",
}
_ROUNDING = 1e-9  # so that 0.57 counts as 57 in 100
_STRENGTHS = tuple(
    (float(given["value"]), word) for word, given in table("words.toml")["strengths"].items()
)


def reason_in_words(weighed: WeighedCall, log10_lr: float) -> str:
    """Why a call weighs what it weighs, as sentences."""
    sentences = [_CODES[weighed.reading.code]]
    if weighed.reading.alike is not None:
        sentences.append(_SIDES[weighed.reading.alike])
    if weighed.kappa > 0:
        sentences.append(_ANCHORED[weighed.call.conclusion == weighed.call.anchored_to])
    if weighed.unblind > 0 and weighed.call.conclusion == weighed.heard:
        sentences.append(_MAY_HAVE_HEARD)
    if weighed.reading.informative:
        sentences.append(f"Taken alone it {support(log10_lr)}.")
    return " ".join(sentences)


def support(log10_lr: float) -> str:
    """How strongly something speaks for a sex: "speaks strongly for a male (20 to 1)"."""
    sex = "male" if log10_lr > 0 else "female"
    strength = next((word for least, word in _STRENGTHS if abs(log10_lr) >= least), None)
    if strength is None:
        return "says almost nothing"
    return f"speaks {strength} for a {sex} ({odds(abs(log10_lr))})"


def odds(log10_odds: float) -> str:
    """Odds as people say them: "18 to 1", "1.5 to 1"."""
    value = 10.0**log10_odds
    return f"{value:,.0f} to 1" if value >= 9.5 else f"{value:.1f} to 1".replace(".0 ", " ")


def chance(p: float) -> str:
    """A probability of one half or more as a count of animals, rounded towards less
    certainty: "996 in 1,000"."""
    for size in (100, 1_000, 10_000, 100_000):
        if (1 - p) * size >= 2:
            return f"{floor(p * size + _ROUNDING):,} in {size:,}"
    return "more than 99,990 in 100,000"


def about(p: float) -> str:
    """As :func:`chance`, as people say it of a number that is rounded: "about 996 in 1,000"."""
    share = chance(p)
    return share if share.startswith("more than") else f"about {share}"


def found_in_words(observed: Observation) -> str:
    """What was done and seen, beginning with a verb: "Probed both sides …"."""
    match observed:
        case Probing(passes=passes, unusual=unusual):
            insisted = ", counted again as it is unusual" if unusual else ""
            return f"{_probing_in_words(passes)}{insisted}"
        case Eversion() | Ultrasound() | Radiography() | Endoscopy():
            return _seen_in_words(observed)
        case Dna() | Parentage():
            return _tested_in_words(observed)
        case Reproduction(event=event, witnessed=witnessed):
            how = "Saw it" if witnessed else "Reported, without having seen it, that it"
            return f"{how} {_EVENTS[event, witnessed]}"
        case ScaleCount() | TailLength():
            return _measured_in_words(observed)
        case Visual(feature=feature):
            return f"Judged by {_FEATURES[feature]}, without a check"
        case Hearsay(source=source):
            return f"{_SOURCES[source]}, without a check"


def _measured_in_words(observed: ScaleCount | TailLength) -> str:
    if isinstance(observed, TailLength):
        return f"Measured {observed.tail_mm} mm of tail in {observed.total_mm} mm of snake"
    belly = "" if observed.ventrals is None else f" and {observed.ventrals} on the belly"
    return f"Counted {observed.subcaudals} scales under the tail{belly}"


_SAMPLES = {"shed": "shed skin", "blood": "blood sample", "swab": "swab", "tissue": "tissue sample"}
_MARKERS = {
    "heterogametic": "two different sex chromosomes",
    "homogametic": "two sex chromosomes of one kind",
    "failed": "no result",
}
_EVENTS = {
    ("laid_eggs", True): "lay eggs",
    ("gave_birth", True): "give birth",
    ("laid_eggs", False): "laid eggs",
    ("gave_birth", False): "gave birth",
}


def _tested_in_words(observed: Dna | Parentage) -> str:
    if isinstance(observed, Dna):
        return _dna_in_words(observed)
    return _parentage_in_words(observed)


def _dna_in_words(observed: Dna) -> str:
    """With what the laboratory reports of the run, where it does."""
    runs, failed = observed.replicates, observed.failed_controls
    about = [
        observed.system,
        f"marker {observed.marker}" if observed.marker else "",
        f"run {_times(runs)}" if runs else "",
        "" if failed is None else f"{failed or 'no'} control{'' if failed == 1 else 's'} failed",
    ]
    run = ", ".join(filter(None, about))
    return f"Had DNA from a {_SAMPLES[observed.sample]} tested ({run}): {_MARKERS[observed.found]}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


_PARENTS = {
    "sire": "it is the father",
    "not_sire": "it is not the father",
    "dam_alone": "it is the mother, and they have no father",
    "failed": "no result",
}


def _parentage_in_words(observed: Parentage) -> str:
    found = f"Tested the parents of {observed.young} young: {_PARENTS[observed.found]}"
    if observed.found != "sire":
        return found
    if observed.all_excluded:
        return f"{found}, with other males, stored sperm and young without a father ruled out"
    excluded = {
        "other males": observed.other_males_excluded,
        "stored sperm": observed.stored_sperm_excluded,
        "young without a father": observed.parthenogenesis_excluded,
    }
    left = " or ".join(what for what, done in excluded.items() if not done)
    return f"{found}, without ruling out {left}"


def _seen_in_words(observed: Eversion | Ultrasound | Radiography | Endoscopy) -> str:
    seen = _SEEN[observed.seen]
    match observed:
        case Eversion(manner="manual"):
            return f"Tried by hand to bring out the male organs and saw {seen}"
        case Eversion():
            return f"Watched it and saw {seen}, out of its own accord"
        case Ultrasound():
            return f"Looked by ultrasound and saw {seen}"
        case Radiography(contrast=contrast):
            return f"Took an X-ray {'with' if contrast else 'without'} contrast and saw {seen}"
        case Endoscopy(post_mortem=True):
            return f"Opened it after death and saw {seen}"
        case Endoscopy():
            return f"Looked inside with an endoscope and saw {seen}"


def _probing_in_words(passes: tuple[Pass, ...]) -> str:
    if not passes:
        return "Probed it; no depths were recorded"
    runs = "; ".join(_pass_in_words(run) for run in passes)
    return f"Probed it: {runs}"


def _pass_in_words(run: Pass) -> str:
    if run.stopped == "aborted":
        return f"{run.side} side broken off"
    depth = f"{run.scales.normalize():f} scale{'' if run.scales == 1 else 's'} deep"
    end = "" if run.stopped == "resistance" else " or deeper"
    return f"{run.side} side {depth}{end}"
