"""Animals that moved together: are they the ones their labels name?

For every way the labels may have been mixed up the calls before and after the move, the
codes read and the weights are weighed together; with the labels right, the doubt is whose
call is wrong: an early one (the animal was missexed from the start) or a late one. Shares
are posterior probabilities within the explanations considered, never a verdict.

A mix-up of k labels has prior odds θ^k against none, θ² being the odds for a given pair,
so that everything factors into a table: how well the animal that was j before fits what
was found under label i afterwards. Up to ``EXACT_UP_TO`` animals every permutation is
followed. Beyond, exchanges of two and rotations of three are; what all others hold is then
worked out exactly from the permanent of the table up to ``COUNTED_UP_TO`` animals, and
bounded above by their prior weight times the best fit of each label beyond that.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations, permutations
from math import comb, exp, fsum, inf, isclose, log, pi, prod, sqrt
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Side
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.likelihood import mix
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon, as_learned

EXACT_UP_TO = 6
"""720 permutations, each worked out; above this the time, not the model, sets the limit."""
COUNTED_UP_TO = 12
"""4,096 subsets for the permanent."""

Kind = Literal[
    "as_labelled", "later_call_wrong", "missexed", "several_missexed", "exchanged", "mixed_up"
]
Order = tuple[int, ...]
"""For each label the animal that really bears it, both by place in the group."""

_DAY = 86_400_000


class WeightReading(Struct, frozen=True):
    """Grams at a time in Unix milliseconds."""

    grams: float
    at: int


class Traveller(Struct, frozen=True):
    """One label. ``stated`` is the sex it travelled as; ``before`` and ``after`` are the
    counting calls filed under it; ``code`` is on record, ``reads`` were read afterwards."""

    label: str
    taxon: Taxon
    stated: Sex | None = None
    before: tuple[Evidence, ...] = ()
    after: tuple[Evidence, ...] = ()
    code: str | None = None
    reads: tuple[str, ...] = ()
    weight_before: WeightReading | None = None
    weight_after: WeightReading | None = None
    prior_male: float = 0.5


class Explanation(Struct, frozen=True):
    """What may have happened, its share, and the labels it is about. ``really`` gives for a
    mix-up the label each of ``labels`` should have borne."""

    kind: Kind
    share: float
    labels: tuple[str, ...]
    really: tuple[str, ...]
    text: str


class Swaps(Struct, frozen=True):
    """Explanations by share; they and ``discarded`` sum to one. ``discarded`` is what the
    mix-ups not followed hold: exactly, or at most (``bounded``); ``discarded_prior`` what
    they held before anything was seen. ``own`` is for each label the chance that it names
    its own animal, ``discarded`` left aside."""

    explanations: tuple[Explanation, ...]
    discarded: float
    discarded_prior: float
    bounded: bool
    own: tuple[tuple[str, float], ...]


def swaps(
    group: Sequence[Traveller],
    records: ExaminerRecords,
    parameters: Parameters,
    exact_up_to: int = EXACT_UP_TO,
    counted_up_to: int = COUNTED_UP_TO,
) -> Swaps:
    """The shares for one group. Raises ValueError for a label given twice."""
    if len({one.label for one in group}) != len(group):
        raise ValueError("a label is given twice")
    fits = _fits(group, records, parameters)
    theta = sqrt(number("pair.odds"))
    every = len(group) <= exact_up_to
    orders = list(permutations(range(len(group))) if every else _small_orders(len(group)))
    weights = [_weight(order, fits, theta) for order in orders]
    kept = fsum(weights)
    rest, bounded = (0.0, False) if every else _rest(fits, theta, kept, counted_up_to)
    whole = kept + rest
    found = [*_right_labels(group, records, parameters, weights[0] / whole)]
    for order, weight in zip(orders[1:], weights[1:], strict=True):
        if weight > 0:
            found.append(_mixed(group, order, weight / whole))
    found.sort(key=lambda one: (-one.share, one.kind, one.labels, one.really))
    return Swaps(
        tuple(found),
        rest / whole,
        0.0 if every else _prior_beyond_three(len(group), theta),
        bounded,
        _own(group, orders, weights),
    )


def number(name: str) -> float:
    """One number of the data on mix-ups."""
    return float(table("swaps.toml")[name]["value"])


def in_words(found: Swaps, names: Mapping[str, str]) -> str:
    """The likeliest explanation, or all that are as likely, the next, and what was left
    aside, as sentences. ``names``: what people call the animal of each label."""
    first = found.explanations[0]
    likeliest = [one for one in found.explanations if isclose(one.share, first.share)]
    clauses = "; or ".join(_lower(_named(one, names)) for one in likeliest)
    each = " each" if len(likeliest) > 1 else ""
    text = [f"Likeliest, with {_hundred(first.share)} in 100{each}: {clauses}."]
    others = found.explanations[len(likeliest) :]
    if others:
        following = _lower(_named(others[0], names))
        text.append(f"Next, with {_hundred(others[0].share)} in 100: {following}.")
    if found.discarded_prior > 0:
        held = _hundred(found.discarded)
        most = f"at most {held.removeprefix('about ')}" if found.bounded else held
        text.append(
            f"Mix-ups of more than three animals were not followed one by one; together they "
            f"hold {most} in 100."
        )
    text.append("This compares explanations and judges nobody; reading the codes would settle it.")
    return " ".join(text)


# --- how well the animal that was j fits what was found under label i -------------------


def _fits(
    group: Sequence[Traveller], records: ExaminerRecords, parameters: Parameters
) -> list[list[float]]:
    """Row j, column i; each column scaled to a largest value of one."""
    codes = {one.code for one in group if one.code is not None}
    logs = [
        [_log_fit(animal, label, codes, records, parameters) for label in group] for animal in group
    ]
    best = [max(column) for column in zip(*logs, strict=True)]
    return [[exp(value - best[i]) for i, value in enumerate(row)] for row in logs]


def _log_fit(
    animal: Traveller,
    label: Traveller,
    codes: set[str],
    records: ExaminerRecords,
    parameters: Parameters,
) -> float:
    if animal.taxon.key != label.taxon.key:
        return -inf
    pair = _side(animal, label.after, records, parameters).pair()
    calls = mix(pair[1], pair[0], animal.prior_male)
    reads = fsum(_read(code, animal.code, codes) for code in label.reads)
    reads += fsum(_seen(call, own=animal.label == label.label) for call in label.after)
    return calls + reads + _weighed(animal.weight_before, label.weight_after)


def _side(
    animal: Traveller, after: Sequence[Evidence], records: ExaminerRecords, parameters: Parameters
) -> Side:
    kind = as_learned(animal.taxon, parameters.base)
    weigher = Weigher(kind, records, parameters, parameters.base)
    calls = [*animal.before, *map(_whoever, after)]
    return Side(weigher, weigher.weigh_all(calls), animal.prior_male)


def _whoever(call: Evidence) -> Evidence:
    """A later call is about whichever animal bore the label: a code that was not the
    label's own is weighed as a code read, and no longer silences the call."""
    doubted = call.identity == "mismatch" or call.compared is not None
    return replace(call, identity="unconfirmed", compared=None) if doubted else call


def _read(code: str, own: str | None, codes: set[str]) -> float:
    """Log chance of reading that code on an animal with its own code on record, or none."""
    wrong = number("code.wrong")
    if code == own:
        return log(1 - wrong)
    if code not in codes and own is None:
        return log(number("code.new"))
    return log(wrong / max(1, len(codes)))


def _seen(call: Evidence, *, own: bool) -> float:
    """Log chance of what was said of the photos of a later check, the label bearing its own
    animal or another."""
    if call.compared is None:
        return 0.0
    wrong = number("photo.wrong")
    return log(1 - wrong if (call.compared == "same") == own else wrong)


def _weighed(before: WeightReading | None, after: WeightReading | None) -> float:
    """Log density of the later weight, on a log scale."""
    if before is None or after is None:
        return 0.0
    days = abs(after.at - before.at) / _DAY
    sd = sqrt(number("weight.sd") ** 2 + number("weight.sd_per_root_day") ** 2 * days)
    apart = (log(after.grams) - log(before.grams)) / sd
    outlier = number("weight.outlier")
    usual = (1 - outlier) * exp(-(apart**2) / 2) / (sd * sqrt(2 * pi))
    return log(usual + outlier / number("weight.outlier_span"))


# --- which mix-ups, and what each weighs ------------------------------------------------


def _small_orders(size: int) -> Iterator[Order]:
    """None moved, then two exchanged, then three rotated either way."""
    still = tuple(range(size))
    yield still
    for places in (*combinations(still, 2), *combinations(still, 3)):
        for turn in range(1, len(places)):
            order = list(still)
            for n, place in enumerate(places):
                order[place] = places[(n + turn) % len(places)]
            yield tuple(order)


def _weight(order: Order, fits: Sequence[Sequence[float]], theta: float) -> float:
    return prod(fits[j][i] * (1 if i == j else theta) for i, j in enumerate(order))


def _rest(
    fits: Sequence[Sequence[float]], theta: float, kept: float, counted_up_to: int
) -> tuple[float, bool]:
    """What all other mix-ups weigh, and whether that is only a bound."""
    size = len(fits)
    if size <= counted_up_to:
        return max(_permanent(fits, theta) - kept, 0.0), False
    return _prior_weights(size, theta, range(4, size + 1)), True  # best fits are one


def _permanent(fits: Sequence[Sequence[float]], theta: float) -> float:
    """The weight of all permutations, label by label over the sets of animals given away."""
    size = len(fits)
    given = {0: 1.0}
    for i in range(size):
        following: dict[int, float] = {}
        for animals, weight in given.items():
            for j in range(size):
                if not animals >> j & 1:
                    more = weight * fits[j][i] * (1 if i == j else theta)
                    following[animals | 1 << j] = following.get(animals | 1 << j, 0.0) + more
        given = following
    return given[(1 << size) - 1]


def _prior_beyond_three(size: int, theta: float) -> float:
    beyond = _prior_weights(size, theta, range(4, size + 1))
    return beyond / (beyond + _prior_weights(size, theta, range(0, 4)))


def _prior_weights(size: int, theta: float, moved: Iterable[int]) -> float:
    """Σ over k of the permutations that move exactly k of the labels, times θ^k."""
    return fsum(comb(size, k) * _derangements(k) * theta**k for k in moved if k <= size)


def _derangements(k: int) -> int:
    one, two = 1, 0  # of none and of one
    for n in range(2, k + 1):
        one, two = two, (n - 1) * (one + two)
    return one if k == 0 else two


# --- the explanations -------------------------------------------------------------------


def _right_labels(
    group: Sequence[Traveller], records: ExaminerRecords, parameters: Parameters, share: float
) -> Iterator[Explanation]:
    """The share of right labels, divided by whose sex was said wrongly."""
    wrong = [_missexed(one, records, parameters) for one in group]
    all_right = prod(1 - chance for chance in wrong)
    doubted = tuple(one.label for one in group if _contradicted(one))
    kind: Kind = "later_call_wrong" if doubted else "as_labelled"
    yield _explanation(kind, share * all_right, doubted)
    alone = [
        chance * prod(1 - other for m, other in enumerate(wrong) if m != n)
        for n, chance in enumerate(wrong)
    ]
    for one, chance in zip(group, alone, strict=True):
        if one.stated is not None:
            yield _explanation("missexed", share * chance, (one.label,))
    if sum(chance > 0 for chance in wrong) > 1:
        several = max(1 - all_right - fsum(alone), 0.0)
        yield _explanation("several_missexed", share * several, ())


def _missexed(one: Traveller, records: ExaminerRecords, parameters: Parameters) -> float:
    """The chance that its sex is not the one it travelled as, labels being right."""
    if one.stated is None:
        return 0.0
    side = _side(one, one.after, records, parameters)
    p_male, _ = side.first(len(side.weighed))
    return 1 - p_male if one.stated == "male" else p_male


def _contradicted(one: Traveller) -> bool:
    return one.stated is not None and any(
        call.conclusion not in ("undetermined", one.stated) for call in one.after
    )


def _mixed(group: Sequence[Traveller], order: Order, share: float) -> Explanation:
    moved = [(i, j) for i, j in enumerate(order) if i != j]
    return _explanation(
        "exchanged" if len(moved) == 2 else "mixed_up",
        share,
        tuple(group[i].label for i, _ in moved),
        tuple(group[j].label for _, j in moved),
    )


_TEXTS: dict[Kind, str] = {
    "as_labelled": "Every animal is the one its label names, of the sex it was said to be.",
    "later_call_wrong": (
        "Labels and sexes are right as they were; what later calls say otherwise is wrong."
    ),
    "missexed": "The labels are right, and this animal was of the other sex from the start.",
    "several_missexed": (
        "The labels are right, and more than one animal was of the other sex from the start."
    ),
    "exchanged": "The labels of these two animals were exchanged.",
    "mixed_up": "The labels of these animals were mixed up among them.",
}


def _explanation(
    kind: Kind, share: float, labels: tuple[str, ...], really: tuple[str, ...] = ()
) -> Explanation:
    return Explanation(kind, share, labels, really, _TEXTS[kind])


def _own(
    group: Sequence[Traveller], orders: Sequence[Order], weights: Sequence[float]
) -> tuple[tuple[str, float], ...]:
    whole = fsum(weights)
    return tuple(
        (one.label, fsum(w for o, w in zip(orders, weights, strict=True) if o[i] == i) / whole)
        for i, one in enumerate(group)
    )


def _named(one: Explanation, names: Mapping[str, str]) -> str:
    """The explanation with its animals, as a clause."""
    who = [names[label] for label in one.labels]
    if one.really:
        pairs = zip(one.labels, one.really, strict=True)
        moved = ", ".join(f"{names[label]} is really {names[own]}" for label, own in pairs)
        return f"{one.text.removesuffix('.')} ({moved})"
    return f"{one.text.removesuffix('.')}" + (f" ({', '.join(who)})" if who else "")


def _hundred(share: float) -> str:
    per = 100 * share
    if per < 0.1:
        return "less than 0.1"
    return "more than 99.9" if per > 99.9 else f"about {per:.1f}".removesuffix(".0")


def _lower(text: str) -> str:
    return text[0].lower() + text[1:]
