"""How what single calls show becomes what the record says: one formula for each version.

An older version's formula is used by replay alone and is never changed.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol

from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.formulas.per_call import PerCall
from scalewitness.domain.sexing.formulas.shared_errors import SharedErrors
from scalewitness.domain.sexing.likelihood import Pair
from scalewitness.domain.sexing.parameters import CALL_BY_CALL, ParameterSet
from scalewitness.domain.sexing.weighed import SessionPart, WeighedCall


class Formula(Protocol):
    """``own_view``: whether a sex is verified only by what those found who knew no answer."""

    own_view: bool

    def seen(self, pair: Pair, call: Evidence, kappa: float) -> Pair:
        """What one call brings into its session, from what it says by itself."""

    def part(self, calls: Sequence[WeighedCall]) -> SessionPart:
        """Calls of one method in one session."""

    def combined(self, parts: Sequence[SessionPart]) -> list[Pair]:
        """Pairs whose sum is log P(everything | male), (… | female), up to a constant."""


@lru_cache(maxsize=512)
def formula_of(version: str, numbers: ParameterSet) -> Formula:
    """The formula of that version with those numbers in it."""
    return PerCall() if version in CALL_BY_CALL else SharedErrors(numbers)
