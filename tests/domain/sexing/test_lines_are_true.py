"""Each sentence that a standing is explained with, against an independent reading of the record."""

from hypothesis import given
from tests.domain.sexing.builders import standing
from tests.domain.sexing.strategies import RECORDS, TAXA

from scalewitness.domain.observations import Dna, Endoscopy, Parentage, Probing
from scalewitness.domain.sexing.explain import explain


def concluding(record, sex):
    return [one for one in record if one.conclusion == sex]


def other_sex(sex):
    return {"male": "female", "female": "male"}[sex]


def blind_strangers(record):
    return [one for one in record if one.blind and not one.interested]


def nothing_left(test):
    """Whether such a test of parents leaves no other explanation."""
    ruled_out = test.other_males_excluded, test.stored_sperm_excluded, test.parthenogenesis_excluded
    return test.found == "dam_alone" or (test.found == "sire" and all(ruled_out))


REASONS = {
    "has yet checked it without knowing": lambda r, sex: not blind_strangers(r),
    "has yet come to this answer without knowing": lambda r, sex: blind_strangers(r),
    "A second examiner has yet to come": lambda r, sex: True,
    "an observation that settles the sex": lambda r, sex: any(
        one.method in ("endoscopy", "dna", "reproduction", "parentage")
        and one.identified == "confirmed"
        and one.report in ("own", "confirmed")
        and (one.method != "parentage" or nothing_left(one.observed))
        for one in concluding(r, sex)
    ),
    "Separate examiners came to the same answer": lambda r, sex: (
        len({one.examiner for one in concluding(r, sex)}) > 1
        and concluding(blind_strangers(r), sex)
    ),
    "One call by itself speaks strongly for the other sex": lambda r, sex: concluding(
        r, other_sex(sex)
    ),
    "no code of this animal was read from it": lambda r, sex: any(
        one.identified != "confirmed" for one in r
    ),
    "Without the calls of those who knew": lambda r, sex: any(
        one.anchored_to and not one.blind for one in r
    ),
    "It had counted as verified": lambda r, sex: len(r) > 2,
    "saw organs of both sexes in it": lambda r, sex: any(
        isinstance(one.observed, Endoscopy)
        and (one.observed.seen, one.role) == ("both", "veterinarian")
        and (one.compared or one.identity) in ("same", "confirmed")  # by a photo, or by its code
        and one.report in ("own", "confirmed")
        for one in concluding(r, "undetermined")
    ),
    "later calls restored the answer": lambda r, sex: len(r) > 3,
    "later calls reversed that": lambda r, sex: len({one.conclusion for one in r}) > 1,
    "No call on record says anything": lambda r, sex: True,
    "speaks for both sexes alike": lambda r, sex: sex is None,
    "Since that contrary call no later one": lambda r, sex: concluding(r, other_sex(sex)),
    "Verified needs": lambda r, sex: True,
}


@given(RECORDS, TAXA)
def test_every_reason_is_so(record, kind):
    found = standing(*record, taxon=kind)
    for line in explain(found, record, kind):
        if line.kind == "reason":
            (said,) = [so for words, so in REASONS.items() if words in line.text]
            assert said(record, found.favoured), line.text


@given(RECORDS, TAXA)
def test_every_line_about_a_test_of_a_laboratory_is_so(record, kind):
    found = standing(*record, taxon=kind)
    by_id = {one.call: one for one in record}
    for line in explain(found, record, kind):
        seen = by_id[line.call].observed if line.call else None
        of_parents, of_dna = isinstance(seen, Parentage), isinstance(seen, Dna)
        said = {words: words in line.text for words in LABORATORY}
        if line.call is None:
            assert not any(said.values())
            continue
        sire = of_parents and seen.found == "sire"
        assert said["it is the father"] == sire
        assert said["with other males, stored sperm and young without a father ruled out"] == (
            sire and nothing_left(seen)
        )
        assert said["without ruling out"] == (sire and not nothing_left(seen))
        assert said["Something else could explain it"] <= (sire and not nothing_left(seen))
        assert said["it is the mother, and they have no father"] == (
            of_parents and seen.found == "dam_alone"
        )
        assert said["That it is not the father"] <= (of_parents and seen.found == "not_sire")
        assert said["Controls of the test failed"] <= bool(of_dna and seen.failed_controls)
        assert said["control failed"] == bool(of_dna and seen.failed_controls == 1)
        assert said["no controls failed"] == (of_dna and seen.failed_controls == 0)
        assert said["its part in a mating"] == (getattr(seen, "feature", "") == "mating")


LABORATORY = (
    "it is the father",
    "with other males, stored sperm and young without a father ruled out",
    "without ruling out",
    "Something else could explain it",
    "it is the mother, and they have no father",
    "That it is not the father",
    "Controls of the test failed",
    "control failed",
    "no controls failed",
    "its part in a mating",
)


@given(RECORDS, TAXA)
def test_every_line_about_a_call_is_so(record, kind):
    found = standing(*record, taxon=kind)
    by_id = {one.call: one for one in record}
    for line in explain(found, record, kind):
        if line.call is None:
            continue
        one, text = by_id[line.call], line.text
        assert f"concluded {one.conclusion}" in text or "came to no conclusion" in text
        assert ("Checked without knowing any earlier answer" in text) == (
            one.role == "keeper" and one.blind
        )
        assert ("knew that answer beforehand" in text) <= (one.anchored_to == one.conclusion)
        assert ("knew the other answer beforehand" in text) <= (
            one.anchored_to not in (None, one.conclusion)
        )
        assert ("The code read at the time is not this animal's" in text) <= (
            one.identified == "mismatch"
        )
        assert ("Whoever is quoted says that it was not so" in text) <= (one.report == "denied")
        if "In this species females usually probe" in text:
            assert kind.ground not in (None, "in general")
        if "In snakes in general" in text:
            assert kind.ground == "in general"
        if "Left and right differ little" in text:
            assert _apart(one) <= 1
        if "lie between what is usual" in text:
            assert isinstance(one.observed, Probing)


def _apart(one):
    """How far the means of the two sides are apart, in scales."""
    sides = {}
    for run in one.observed.passes:
        if run.stopped == "resistance":
            sides.setdefault(run.side, []).append(float(run.scales))
    left, right = (sum(depths) / len(depths) for depths in sides.values())
    return abs(left - right)
