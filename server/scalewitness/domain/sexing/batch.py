"""Many animals at once: the standing of each, as :func:`assess` would give it.

For when the policy, the numbers or the examiners' records change and every animal has to
be looked at again. Where a probability or a session lies so near a threshold that the last
digits could decide a label, the animal is worked out by itself.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import cast

import numpy as np
from msgspec.structs import replace

from scalewitness.domain.facts import Label
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing, case_of
from scalewitness.domain.sexing.columns import MALE, NEITHER, Encoder, Record
from scalewitness.domain.sexing.courses import courses, views
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords

__all__ = ["Record", "reassess"]

CHUNK = 20_000
"""Animals worked out together; bounds the memory, changes no answer."""

LONGEST = 64
"""Records of more calls are worked out by themselves: their every past view is a column."""

_SEX_WORDS: tuple[Sex | None, ...] = (None, "male", "female")


def reassess(
    animals: Iterable[Record],
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
    chunk: int = CHUNK,
) -> Iterator[Standing]:
    """The standing of each animal in turn, without reasons. Raises ValueError as
    :func:`assess` when it comes to such an animal's chunk."""
    encoder = Encoder(records, policy, parameters)
    waiting = iter(animals)
    while some := list(islice(waiting, chunk)):
        yield from _together(some, encoder)


def _together(chunk: Sequence[Record], encoder: Encoder) -> Iterator[Standing]:
    short = [n for n, one in enumerate(chunk) if len(one.evidence) <= LONGEST]
    found = dict(zip(short, _standings([chunk[n] for n in short], encoder), strict=True))
    for n, one in enumerate(chunk):
        standing = found.get(n)
        yield _alone(one, encoder) if standing is None else standing


def _alone(one: Record, encoder: Encoder) -> Standing:
    case = case_of(one.evidence, one.taxon, encoder.records, encoder.parameters, one.prior_male)
    return replace(case.standing(encoder.policy), reasons=())


def _standings(chunk: Sequence[Record], encoder: Encoder) -> list[Standing | None]:
    """None where an animal has to be worked out by itself."""
    if not chunk:
        return []
    policy = encoder.policy
    columns = encoder.columns(chunk)
    last = views(columns.rows, columns, columns.prior_male, policy)
    course = courses(last, columns, policy)
    share = np.where(last.favoured == MALE, last.p_male, 1 - last.p_male)
    word = np.where((last.favoured != NEITHER) & (share >= policy.probable), _PROBABLE, _UNSEXED)
    torn = (course.fallen != NEITHER) | (last.strong[0] & last.strong[1])
    word[last.any_session & torn] = _CONTESTED
    word[(last.favoured != NEITHER) & (course.verified == last.favoured)] = _VERIFIED
    decisive = np.where(last.favoured == MALE, last.decisive[0], last.decisive[1])
    decisive &= last.favoured != NEITHER
    return [
        None if near else Standing(_label(w, sex), p, q, _SEX_WORDS[sex], settled)
        for near, w, sex, p, q, settled in zip(
            course.close.tolist(),
            word.tolist(),
            last.favoured.tolist(),
            last.p_male.tolist(),
            last.p_pessimistic.tolist(),
            decisive.tolist(),
            strict=True,
        )
    ]


_UNSEXED, _PROBABLE, _VERIFIED, _CONTESTED = range(4)
_WORDS = ("unsexed", "probable", "verified", "contested")


def _label(word: int, sex: int) -> Label:
    if word in (_UNSEXED, _CONTESTED):
        return cast(Label, _WORDS[word])
    return cast(Label, f"{_WORDS[word]} {_SEX_WORDS[sex]}")
