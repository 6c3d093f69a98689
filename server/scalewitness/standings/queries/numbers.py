"""The model's numbers by the version that a standing names: those released with the program, and
those that the record learned on top of them."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

import msgspec

from scalewitness.domain.facts import AdoptedNumber
from scalewitness.domain.sexing.learning import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import (
    Parameters,
    UnknownVersion,
    load_parameters,
    released,
)
from scalewitness.standings.models import AdoptedNumbers


class Numbers(NamedTuple):
    """``kept``: how likely a verified sex must be to stay so where nothing but the numbers
    changed; for released ones no share is enough."""

    parameters: Parameters
    kept: float = 1.0


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


def as_adopted(version: str, kept: str, numbers: object) -> Numbers:
    """From the row or from the fact alone."""
    learned = as_learned(msgspec.convert(numbers, tuple[AdoptedNumber, ...], from_attributes=True))
    base = load_parameters(released(version))
    return Numbers(with_learned(base, learned, version), float(kept))


def as_learned(numbers: Iterable[AdoptedNumber]) -> tuple[LearnedNumber, ...]:
    """As the model has them: decimal strings as they were logged."""
    return tuple(msgspec.convert(msgspec.to_builtins(one), LearnedNumber) for one in numbers)


def as_logged(learned: Iterable[LearnedNumber]) -> tuple[AdoptedNumber, ...]:
    """As a fact has them."""
    return tuple(msgspec.convert(_plain(one), AdoptedNumber) for one in learned)


def _plain(one: LearnedNumber) -> dict[str, Any]:
    """Decimals without an exponent."""
    given = msgspec.structs.asdict(one)
    return {name: f"{value:f}" if name in _FIGURES else value for name, value in given.items()}


_FIGURES = frozenset({"value", "low", "high"})
