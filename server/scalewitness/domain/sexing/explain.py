"""A standing in sentences for someone who has never probed a snake.

Names never enter: a line about a call carries the examiner's key, and the page puts the
name before the text, which begins with a verb.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from math import floor
from typing import Final, Literal, NamedTuple

from msgspec import Struct

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Probing, saw_both
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.sensitivity import Sensitivity, span_in_words
from scalewitness.domain.sexing.standing import Assessment, CallWeight
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Range
from scalewitness.domain.sexing.words import about, found_in_words

Kind = Literal["answer", "reason", "call", "caution"]


class ReasonLine(Struct, frozen=True):
    """One or more sentences. ``call``, ``examiner``, ``role`` and ``at`` (Unix ms) are set
    on lines about a call only."""

    kind: Kind
    text: str
    call: str | None = None
    examiner: str | None = None
    role: Role | None = None
    at: int | None = None


def explain(
    assessment: Assessment,
    evidence: Sequence[Evidence],
    taxon: Taxon,
    moves: Sensitivity | None = None,
) -> tuple[ReasonLine, ...]:
    """The answer, with its range where ``moves`` gives it, why it is not stronger or weaker,
    each call in log order with what it weighs, and what could be wrong: first that it was
    another animal. ``evidence`` is what was assessed. Raises KeyError for a call that was not."""
    by_id = {call.call: call for call in evidence}
    counted = [(weight, by_id[weight.call]) for weight in assessment.weights]
    return (
        ReasonLine("answer", _answer(assessment, moves)),
        *(ReasonLine("reason", text) for _, text in _reasons(assessment, evidence)),
        *(_call_line(weight, call, taxon) for weight, call in counted),
        *(ReasonLine("caution", text) for text in _cautions(assessment, evidence, taxon)),
    )


class Short(NamedTuple):
    """An answer for whoever reads one sentence: what it is, and the weightiest reason why it is
    or is not verified; that is empty where the sentence says it."""

    answer: str
    why: str


def in_short(
    assessment: Assessment, evidence: Sequence[Evidence], moves: Sensitivity | None = None
) -> Short:
    """The answer and its weightiest reason. ``evidence`` and ``moves`` as for `explain`."""
    sex = assessment.favoured
    if sex is None or "atypical" in assessment.reasons:
        return Short(_answer(assessment, moves), "")
    share = assessment.p_male if sex == "male" else 1 - assessment.p_male
    such = about(share)
    answer = (
        f"{such[0].upper()}{such[1:]} such animals would be {sex}{_between(assessment, moves)}."
    )
    if assessment.label == "contested":  # of any other, the label says as much
        answer = f"{_CONTRADICT} {answer}"
    sentences = dict(_reasons(assessment, evidence))
    first = next((code for code in _WEIGHTIEST if code in sentences), next(iter(sentences), None))
    return Short(answer, sentences[first] if first else "")


_WEIGHTIEST: Final = (
    "fell_from_male",
    "fell_from_female",
    "known_elsewhere",
    "contrary_call",
    "needs_blind_call",
    "needs_second_examiner",
    "newcomers",
    "same_person",
    "rests_on_those_who_knew",
    "decisive_evidence",
    "examiners_agree",
)
"""What whoever relies on an answer asks first: did anything contradict it, did anybody look who
gains nothing and knew nothing (our judgement). Figures come after."""


# --- the answer -----------------------------------------------------------------------


def _answer(assessment: Assessment, moves: Sensitivity | None) -> str:
    sex = assessment.favoured
    if "atypical" in assessment.reasons:
        return "It is neither male nor female, so no sex can be vouched for."
    if sex is None:
        return "Its sex is not known: what is recorded does not favour either."
    opening = {
        "verified": f"The record, taken whole, says {sex}.",
        "probable": f"The record says probably {sex}; that is not a verified sex.",
        "contested": _CONTRADICT,
        "unsexed": f"Its sex is not established; what there is leans towards {sex}.",
    }[assessment.label.split()[0]]
    male = sex == "male"
    share, sceptical = (
        p if male else 1 - p for p in (assessment.p_male, assessment.p_male_pessimistic)
    )
    such = f"Of animals with such a record {about(share)} would be {sex}"
    return f"{opening} {such}{_between(assessment, moves)}. {_sceptically(sceptical)}"


_CONTRADICT: Final = "The calls contradict each other, so no sex can be vouched for."


def _between(assessment: Assessment, moves: Sensitivity | None) -> str:
    """How far that can be relied on: the range over other plausible numbers, and whether
    anybody has measured those."""
    if moves is None:
        return ""
    ends = moves.p_low, moves.p_high
    low, high = ends if assessment.favoured == "male" else (1 - ends[1], 1 - ends[0])
    published = sum(number.status == "published" for number in assessment.used)
    most = published * 2 < len(assessment.used)
    basis = "figures most of which nobody has measured yet" if most else "other plausible figures"
    span = span_in_words(low, high)
    hundred = "" if span.startswith("between") else " in 100"
    return f", {span}{hundred} by {basis}"


def _sceptically(share: float) -> str:
    if share < 0.5:
        return "Trusting every call less, the answer would lean the other way."
    return f"Trusting every call less, it would be {about(share)}."


_REASONS = {
    "no_evidence": "No call on record says anything about its sex.",
    "evenly_balanced": "What is recorded speaks for both sexes alike.",
    "decisive_evidence": "It rests on an observation that settles the sex by itself.",
    "examiners_agree": (
        "Separate examiners came to the same answer, at least one of them without knowing "
        "any earlier answer and without a share in the animal."
    ),
    "newcomers": (
        "Nobody with a record here, or for whom keepers with one vouch, has yet checked it without "
        "knowing the earlier answers, or confirmed what settles it."
    ),
    "same_person": (
        "One of those who agree counts as one examiner with an earlier one, or with the keeper: "
        "both accounts held the key of one device, or a finding says that they are one person's. "
        "Somebody else has yet to come to the same answer without knowing it."
    ),
    "needs_second_examiner": "A second examiner has yet to come to the same answer.",
    "contrary_call": "One call by itself speaks strongly for the other sex.",
    "needs_later_support": (
        "Since that contrary call no later one has strongly supported the earlier answer."
    ),
    "identity_unconfirmed": (
        "For some calls no code of this animal was read from it, at most the tag of its tub, "
        "so they may concern another animal."
    ),
    "fell_from_male": "It had counted as verified male until a call contradicted that.",
    "fell_from_female": "It had counted as verified female until a call contradicted that.",
    "rests_on_those_who_knew": (
        "Without the calls of those who knew an answer beforehand it is not certain enough."
    ),
    "known_elsewhere": (
        "This number is known elsewhere: its transponder is that of another record here, and a "
        "transponder is in one snake only. What was seen of this snake may be on that record, so "
        "here its sex is probable at most until one of the two keepers puts that right."
    ),
    "restored": "It was in doubt after a contrary call; later calls restored the answer.",
    "kept_as_numbers_changed": (
        "Numbers that this record learned since then make it a little less certain. As long as "
        "nothing new speaks against it, that alone does not take a verified sex away."
    ),
    "atypical": (
        "A veterinarian saw organs of both sexes in it. Whatever the calls say, it is never "
        "verified as male or female."
    ),
    "reversed": "It had counted as the other sex until later calls reversed that.",
}


def _reasons(assessment: Assessment, evidence: Sequence[Evidence]) -> Iterable[tuple[str, str]]:
    """Each code with its sentence; the two that say what is not certain enough share one."""
    below = [code for code in assessment.reasons if code.startswith("below_")]
    for code in assessment.reasons:
        if code in below[1:]:
            continue
        if code in below:
            yield code, _below(assessment, below)
        elif code == "needs_blind_call":
            yield code, _needs_blind_call(evidence)
        else:
            yield code, _REASONS[code]


def _needs_blind_call(evidence: Sequence[Evidence]) -> str:
    """Somebody may have looked so and come to another answer, or to none that counts."""
    looked = any(call.blind and not call.interested for call in evidence)
    done = "come to this answer" if looked else "checked it"
    return (
        f"Nobody without a share in the animal has yet {done} without knowing the earlier answers."
    )


def _below(assessment: Assessment, codes: Sequence[str]) -> str:
    """``below_0.99``, ``below_0.95_pessimistic`` or both in one line, with what there is, in
    hundredths rounded down: never as much as is needed."""
    plain, strict = assessment.p_male, assessment.p_male_pessimistic
    if assessment.favoured == "female":
        plain, strict = 1 - plain, 1 - strict
    parts: list[str] = []
    for code in codes:
        _, least, *sceptical = code.split("_")
        needed = f"{Decimal(least) * 100:f}".rstrip("0").rstrip(".")
        of, read = ("", " read strictly") if sceptical else (" in 100", "")
        of = of if parts else " in 100"
        parts.append(f"{needed}{of}{read}, it has {floor((strict if sceptical else plain) * 100)}")
    return f"Verified needs {'; and '.join(parts)}."


# --- the calls ------------------------------------------------------------------------

_CONCLUDED = {
    "male": "concluded male",
    "female": "concluded female",
    "undetermined": "came to no conclusion",
}
_SURENESS = {
    "certain": "certain of it",
    "fairly_sure": "fairly sure of it",
    "unsure": "not sure of it",
}


def _call_line(weight: CallWeight, call: Evidence, taxon: Taxon) -> ReasonLine:
    sentences = [
        f"{found_in_words(call.observed)}; {_concluded(call)}.",
        *_expected(weight, call, taxon),
        _knowing(call),
        weight.reason,
    ]
    text = " ".join(sentence for sentence in sentences if sentence)
    return ReasonLine("call", text, call.call, call.examiner, call.role, call.at)


def _concluded(call: Evidence) -> str:
    if call.conclusion == "undetermined":
        return _CONCLUDED[call.conclusion]
    return f"{_CONCLUDED[call.conclusion]}, {_SURENESS[call.sureness]}"


def _expected(weight: CallWeight, call: Evidence, taxon: Taxon) -> Iterable[str]:
    """What depths are usual, beside a probing whose depths were read."""
    if isinstance(call.observed, Probing) and weight.passes:
        female, male = _range(taxon.female_range), _range(taxon.male_range)
        where = "In snakes in general" if taxon.ground == "in general" else "In this species"
        yield f"{where} females usually probe {female} scales and males {male}."


def _range(given: Range | None) -> str:
    if given is None:
        return "an unknown number of"
    low, high = (f"{end.normalize():f}" for end in given)
    return low if low == high else f"{low} to {high}"


def _knowing(call: Evidence) -> str:
    """What the examiner knew and who had an interest. Of a reported call the record knows
    only what the sender passed on, and the interest is the sender's."""
    if call.role != "keeper":
        return f"{_knew_as_reported(call)} {_REPORTED[call.interested]}"
    share = f" {_SHARE}" if call.interested else ""
    if call.blind:
        return f"Checked without knowing any earlier answer.{share}"
    if call.anchored_to is None:
        return f"No earlier answer was known.{share}"
    return f"Knew that it had been called {call.anchored_to}.{share}"


_SHARE = "The examiner had a share in the animal or was selling it."
_REPORTED = {
    False: "It is reported at second hand.",
    True: "It is reported at second hand, by someone with a share in the animal or selling it.",
}


def _knew_as_reported(call: Evidence) -> str:
    if call.anchored_to is None:
        return "No earlier answer is said to have been known."
    return f"It is said to have been known that it had been called {call.anchored_to}."


# --- what could be wrong ----------------------------------------------------------------


def _cautions(assessment: Assessment, evidence: Sequence[Evidence], taxon: Taxon) -> Iterable[str]:
    if any(call.compared == "another" for call in evidence):
        yield _ANOTHER
    if any(call.identified != "confirmed" for call in evidence) and (
        "identity_unconfirmed" not in assessment.reasons
    ):
        yield _REASONS["identity_unconfirmed"]
    used = {call.method for call in evidence}
    yield from (words.caution for method, words in METHODS.items() if method in used)
    if "probing" in used:
        yield from _about_ranges(taxon)
    if "atypical" not in assessment.reasons and any(saw_both(one.observed) for one in evidence):
        yield (
            "It is said that organs of both sexes were seen in it. Without a veterinarian's "
            "confirmed report, on an animal whose code was read, that changes nothing."
        )
    if assessment.weights:
        yield "No record makes a sex certain; a recheck by someone independent always helps."


_ANOTHER = (
    "Someone without a share in the animal compared photos and says that at one of these checks "
    "another animal was in hand."
)
_SETTLES = (
    "an ultrasound, eggs or young, a parentage test, or a DNA test made for the species would "
    "settle it."
)
_UNDOCUMENTED: dict[str | None, str] = {
    "in general": (
        "As far as we know nobody has published how deep this species probes, so probing alone "
        f"never verifies its sex; {_SETTLES}"
    ),
    "from memory": (
        "How deep this species probes is told from memory, without a source, so probing alone "
        f"never verifies its sex; {_SETTLES}"
    ),
    "web page": (
        "How deep this species probes is taken from a page without an author of record, so "
        f"probing alone never verifies its sex; {_SETTLES}"
    ),
}


def _about_ranges(taxon: Taxon) -> Iterable[str]:
    if taxon.disputed:
        yield "Sources differ on how deep this species probes; the widest reading is used."
    if taxon.ground == "learned here":
        learned = taxon.sources[0].source
        yield f"How deep this species probes was learned from this record: {learned}."
    if taxon.ground in _UNDOCUMENTED:
        yield _UNDOCUMENTED[taxon.ground]
