"""The model's numbers by the version that a standing names: those released with the program, and
those that the record learned on top of them."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any
from uuid import UUID

import msgspec

from scalewitness.domain.facts import AdoptedNumber
from scalewitness.domain.sexing.gauge import Numbers, as_adopted
from scalewitness.domain.sexing.learning.numbers import LearnedNumber
from scalewitness.domain.sexing.parameters import UnknownVersion, load_parameters, released
from scalewitness.standings.models import AdoptedNumbers


def numbers_named(version: str) -> Numbers:
    """Of that version. Raises UnknownVersion."""
    if version == released(version):
        return Numbers(load_parameters(version))
    row = AdoptedNumbers.objects.filter(version=version).values_list("pk").first()
    if row is None:
        raise UnknownVersion(version)
    return adopted_numbers(*row)


@lru_cache(maxsize=64)
def adopted_numbers(pk: UUID) -> Numbers:
    """Cached by the adoption's id: rows never change, so neither does the answer."""
    row = AdoptedNumbers.objects.get(pk=pk)
    return as_adopted(row.version, row.kept, row.numbers)


def as_logged(learned: Iterable[LearnedNumber]) -> tuple[AdoptedNumber, ...]:
    """As a fact has them."""
    return tuple(msgspec.convert(_plain(one), AdoptedNumber) for one in learned)


def _plain(one: LearnedNumber) -> dict[str, Any]:
    """Decimals without an exponent."""
    given = msgspec.structs.asdict(one)
    return {name: f"{value:f}" if name in _FIGURES else value for name, value in given.items()}


_FIGURES = frozenset({"value", "low", "high"})
