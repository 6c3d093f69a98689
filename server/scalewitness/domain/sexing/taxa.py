"""The snakes the model knows: sex system, ranges with every source, life stages."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Any, Literal, get_args

from msgspec import Struct

from scalewitness.domain.observations import LifeStage, Sex
from scalewitness.domain.sexing.parameters import CURRENT, Parameter, Status
from scalewitness.domain.sexing.tables import layers

Range = tuple[Decimal, Decimal]
SexSystem = Literal["XY", "ZW", "unknown"]

_STAGES: tuple[LifeStage, ...] = ("hatchling", "juvenile", "adult")
_WEAKEST: tuple[Status, ...] = get_args(Status)[::-1]


class UnknownSpecies(ValueError):
    """No taxon has this key; ``serpentes`` stands for a species that is not listed."""


class RangeSource(Struct, frozen=True):
    """What one source gives, lowest and highest; None where it gives nothing."""

    female: Range | None
    male: Range | None
    source: str
    status: Status
    note: str = ""


class Stages(Struct, frozen=True):
    """Hatchling up to and with ``hatchling_*``, adult from ``adult_*`` on; days, grams."""

    hatchling_days: int
    adult_days: int
    hatchling_grams: Decimal | None
    adult_grams: Decimal | None
    status: Status
    note: str


class Taxon(Struct, frozen=True, cache_hash=True):
    """One kind of snake. Ranges are the envelope of all sources, in scales; None when no
    source gives one. ``status`` is that of the weakest source."""

    key: str
    scientific: str
    common: str
    sex_system: SexSystem
    sex_system_status: Status
    sex_system_source: str
    sex_system_note: str
    sources: tuple[RangeSource, ...]
    subcaudal_sources: tuple[RangeSource, ...]
    stages: Stages
    female_range: Range | None
    male_range: Range | None
    female_subcaudals: Range | None
    male_subcaudals: Range | None
    status: Status
    version: str = CURRENT

    def depths(self, sex: Sex) -> Range | None:
        """The probing depths of that sex in subcaudal scales."""
        return self.male_range if sex == "male" else self.female_range

    @property
    def disputed(self) -> bool:
        """Whether sources give different depths for one sex."""
        given = [(s.female, s.male) for s in self.sources]
        return any(len({pair[i] for pair in given} - {None}) > 1 for i in (0, 1))


def taxon(species: str, version: str = CURRENT) -> Taxon:
    """The taxon with that key, for example ``python_regius``. Raises UnknownSpecies."""
    try:
        return _taxa(version)[species]
    except KeyError:
        raise UnknownSpecies(species) from None


def species_list(version: str = CURRENT) -> tuple[Taxon, ...]:
    """All taxa by common name, the one for unlisted species last."""
    return tuple(
        sorted(_taxa(version).values(), key=lambda t: (t.key == "serpentes", t.common.lower()))
    )


def life_stage(kind: Taxon, hatched: date | None, on: date, grams: Decimal | None) -> LifeStage:
    """The stage on a day, by age and weight; the older answer of the two, because findings
    weigh less in older animals. ``unknown`` without either, or hatched after that day."""
    limits, found = kind.stages, []
    if hatched is not None:
        days = (on - hatched).days
        if days < 0:
            return "unknown"
        found.append((days > limits.hatchling_days) + (days >= limits.adult_days))
    if grams is not None and limits.hatchling_grams is not None and limits.adult_grams is not None:
        found.append((grams > limits.hatchling_grams) + (grams >= limits.adult_grams))
    return _STAGES[max(found)] if found else "unknown"


@lru_cache(maxsize=128)
def range_parameters(kind: Taxon, what: Literal["depth", "subcaudals"]) -> tuple[Parameter, ...]:
    """Every published end of a range as a parameter, all sources, for the account of what
    entered an answer."""
    sources = kind.sources if what == "depth" else kind.subcaudal_sources
    return tuple(
        Parameter(
            f"{kind.key}.{what}.{sex}.{end}.{n}", float(value), s.status, s.source, s.note, "taxa"
        )
        for n, s in enumerate(sources, 1)
        for sex, given in (("female", s.female), ("male", s.male))
        if given is not None
        for end, value in zip(("low", "high"), given, strict=True)
    )


@cache
def _taxa(version: str) -> Mapping[str, Taxon]:
    sheet = layers(version, "taxa.toml")[-1]
    kinds = (_taxon(row, sheet["stages"], version) for row in sheet["taxon"])
    return MappingProxyType({kind.key: kind for kind in kinds})


def _taxon(row: Mapping[str, Any], stages: Mapping[str, Any], version: str) -> Taxon:
    depths = tuple(map(_source, row.get("depths", ())))
    counts = tuple(map(_source, row.get("subcaudals", ())))
    return Taxon(
        **{name: row[name] for name in ("key", "scientific", "common", "sex_system")},
        sex_system_status=row["sex_system_status"],
        sex_system_source=row.get("sex_system_source", ""),
        sex_system_note=row.get("sex_system_note", ""),
        sources=depths,
        subcaudal_sources=counts,
        stages=_stages(row, stages),
        female_range=_envelope(s.female for s in depths),
        male_range=_envelope(s.male for s in depths),
        female_subcaudals=_envelope(s.female for s in counts),
        male_subcaudals=_envelope(s.male for s in counts),
        status=min((s.status for s in depths), key=_WEAKEST.index, default="our judgement"),
        version=version,
    )


def _stages(row: Mapping[str, Any], common: Mapping[str, Any]) -> Stages:
    return Stages(
        hatchling_days=row.get("hatchling_days", common["hatchling_days"]),
        adult_days=row.get("adult_days", common["adult_days"]),
        hatchling_grams=_decimal(row.get("hatchling_grams")),
        adult_grams=_decimal(row.get("adult_grams")),
        status=common["status"],
        note=common["note"],
    )


def _source(row: Mapping[str, Any]) -> RangeSource:
    return RangeSource(
        _range(row.get("female")),
        _range(row.get("male")),
        row["source"],
        row["status"],
        row.get("note", ""),
    )


def _range(ends: list[Any] | None) -> Range | None:
    return None if ends is None else (Decimal(ends[0]), Decimal(ends[1]))


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value)


def _envelope(ranges: Iterable[Range | None]) -> Range | None:
    given = [found for found in ranges if found is not None]
    return (min(low for low, _ in given), max(high for _, high in given)) if given else None
