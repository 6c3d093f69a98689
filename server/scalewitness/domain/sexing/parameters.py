"""Every number of the model, with where it comes from.

Numbers live in a flat table under dotted names (``mislead.probing.male``), so that any
of them can be shown, varied and traced. Two sets: ``base``, and ``pessimistic``, which
falls back on ``base`` for every number it does not name.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, Literal

from msgspec import Struct

from scalewitness.domain.sexing.tables import layers

Status = Literal[
    "published", "learned here", "web page", "common practice", "from memory", "our judgement"
]
"""Where a number comes from, best first. A web page is one without an author, a keeper's or a
student's; until sexing-3 such pages were called published. What was learned here was learned
from this record's own settled animals."""
SetName = Literal["base", "pessimistic"]

CURRENT = "sexing-3"
"""What a standing is worked out with until the record adopts another version."""
VERSIONS = ("sexing-1", "sexing-2", "sexing-3")
"""Every version ever used stays, so that no standing of the past changes."""
CALL_BY_CALL = frozenset({"sexing-1", "sexing-2"})
"""Those that took each call by itself, every report for its examiner's own, and a known sex
system for a DNA test."""


LEARNED = "."
"""Between a released version and the count of what was learned on top of it: ``sexing-3.2``."""


def released(version: str) -> str:
    """The released version that one with learned numbers builds on; itself, if it has none."""
    return version.partition(LEARNED)[0]


_ABOUT = frozenset({"source", "status", "note"})
_SHEETS = ("parameters.toml", "methods.toml")


class UnknownVersion(ValueError):
    """No parameters of this version are kept."""


class Parameter(Struct, frozen=True):
    """One number. ``source`` is empty when there is none to name; ``within`` what was learned
    here lies with 95 in 100, None of other numbers."""

    name: str
    value: float
    status: Status
    source: str = ""
    note: str = ""
    of: str = "base"
    within: tuple[float, float] | None = None


class ParameterSet(Struct, frozen=True, eq=False):
    """All numbers of one set by dotted name; shares are between 0 and 1."""

    numbers: Mapping[str, Parameter]

    def value(self, name: str) -> float:
        """The number of that name. Raises KeyError."""
        return self.numbers[name].value

    def get(self, name: str, default: float) -> float:
        """The number of that name, or ``default`` where the set has none."""
        found = self.numbers.get(name)
        return default if found is None else found.value


class Parameters(Struct, frozen=True, eq=False):
    """``learned`` names what was adopted of numbers learned here; empty when nothing was."""

    version: str
    base: ParameterSet
    pessimistic: ParameterSet
    learned: str = ""

    @property
    def name(self) -> str:
        """What a standing names."""
        return self.learned or self.version


def numbers_of(of: str, entries: Mapping[str, Mapping[str, Any]]) -> Iterator[Parameter]:
    """Data file entries as parameters: ``value`` under the entry's own name, every other
    number under ``entry.number``."""
    for entry, fields in entries.items():
        about = {
            "status": fields["status"],
            "source": fields.get("source", ""),
            "note": fields.get("note", ""),
            "of": of,
        }
        for field, value in fields.items():
            if field not in _ABOUT:
                name = entry if field == "value" else f"{entry}.{field}"
                yield Parameter(name, float(value), **about)


@cache
def load_parameters(version: str = CURRENT) -> Parameters:
    """Both sets of one version, read once. Raises UnknownVersion."""
    if version not in VERSIONS:
        raise UnknownVersion(version)
    base = _read(version, "base")
    pessimistic = base | _read(version, "pessimistic")
    return Parameters(
        version,
        ParameterSet(MappingProxyType(base)),
        ParameterSet(MappingProxyType(pessimistic)),
    )


def _read(version: str, of: SetName) -> dict[str, Parameter]:
    sheets = [sheet for name in _SHEETS for sheet in layers(version, name)]
    return {number.name: number for sheet in sheets for number in numbers_of(of, sheet[of])}
