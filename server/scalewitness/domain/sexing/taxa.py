"""The snakes the model knows: sex chromosomes, ranges and counts with every source, life stages."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import cache, lru_cache
from operator import attrgetter
from types import MappingProxyType
from typing import Any, Final, Literal, get_args

from msgspec import Struct, convert
from msgspec.structs import replace

from scalewitness.domain.observations import LifeStage, Observation, Probing, Sex
from scalewitness.domain.sexing.parameters import (
    CALL_BY_CALL,
    CURRENT,
    VERSIONS,
    Parameter,
    ParameterSet,
    Status,
    released,
)
from scalewitness.domain.sexing.tables import layers
from scalewitness.domain.sexing.taxon_sources import (
    GROUNDS,
    Character,
    CountSource,
    Ground,
    Level,
    Marker,
    Range,
    RangeSource,
    SexSystem,
    Spread,
    Stages,
)

_STAGES: tuple[LifeStage, ...] = ("hatchling", "juvenile", "adult")
_WEAKEST: tuple[Status, ...] = get_args(Status)[::-1]


NOT_LISTED: Final = "serpentes"
"""Any snake whose species is not listed, or that is of none: a cross."""


class UnknownSpecies(ValueError):
    """No taxon has this key; ``serpentes`` stands for a species that is not listed."""


class Taxon(Struct, frozen=True, cache_hash=True):
    """One kind of snake. Ranges are the envelope of all sources, in scales; None when no
    source gives one. ``status`` is that of the weakest source. Versions before sexing-3 say
    nothing of levels and markers, count only subcaudal scales, and call web pages published."""

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
    sex_system_level: Level | None = None
    marker: Marker | None = None
    counts: tuple[CountSource, ...] = ()

    def depths(self, sex: Sex) -> Range | None:
        """The probing depths of that sex in subcaudal scales."""
        return self.male_range if sex == "male" else self.female_range

    @property
    def disputed(self) -> bool:
        """Whether sources give different depths for one sex."""
        given = [(s.female, s.male) for s in self.sources]
        return any(len({pair[i] for pair in given} - {None}) > 1 for i in (0, 1))

    @property
    def ground(self) -> Ground | None:
        """What the probing depths rest on: the best source of each sex, the worse of the two;
        None where one sex has no range."""
        of_both = [
            [GROUNDS.index(one.ground) for one in self.sources if one_sex(one) is not None]
            for one_sex in (attrgetter("female"), attrgetter("male"))
        ]
        return GROUNDS[max(map(min, of_both))] if all(of_both) else None

    @property
    def marker_settles(self) -> bool:
        """Whether a DNA test can settle a sex: one published for this very species, for a
        marker found in one sex only."""
        return (
            self.sex_system_level == "species"
            and self.marker is not None
            and self.marker.one_sex_only
        )

    @property
    def has_dna_test(self) -> bool:
        """Whether a DNA test of this species' sex chromosomes has been published at all. Where
        ZW is that of its genus or family it is the caenophidian snakes', for whom tests that
        ask for no marker of the species' own are (Rovatsos and Kratochvil 2017; Tawichasri et
        al. 2017). Versions before sexing-3 took a known system for a test."""
        if self.sex_system == "unknown":
            return False
        if self.marker is not None or self.version in CALL_BY_CALL:
            return True
        return self.sex_system == "ZW" and self.sex_system_level != "species"

    def counted(self, character: Character) -> tuple[CountSource, ...]:
        """Every source of that character."""
        return tuple(one for one in self.counts if one.character == character)

    def span(self, character: Character, sex: Sex) -> Range | None:
        """Lowest and highest of that sex in any source; None where none gives both ends."""
        given = (one.of(sex) for one in self.counted(character))
        found = _envelope(None if one is None else one.ends for one in given)
        if found is None and character == "ventrals_less_subcaudals":
            return self._difference(sex)
        return found

    def _difference(self, sex: Sex) -> Range | None:
        """As far as ventrals less subcaudals can lie where each is within its span: wider than
        any source would find it, so that it abstains rather than errs."""
        ventrals, subcaudals = self.span("ventrals", sex), self.span("subcaudals", sex)
        if ventrals is None or subcaudals is None:
            return None
        return ventrals[0] - subcaudals[1], ventrals[1] - subcaudals[0]

    def spans(self, character: Character) -> tuple[Range, ...]:
        """The male's and the female's, where both are known."""
        male, female = self.span(character, "male"), self.span(character, "female")
        return () if male is None or female is None else (male, female)

    def only_in(self, character: Character, value: Decimal) -> Sex | None:
        """The sex that alone is known to have such a value; None where both or neither have it.
        A span that holds the other's tells nothing: it may only be of more animals."""
        spans = self.spans(character)
        if not spans:
            return None
        lower, higher = sorted(spans)
        if lower[0] == higher[0] or lower[1] >= higher[1]:
            return None
        in_lower, in_higher = (low <= value <= high for low, high in (lower, higher))
        if in_lower == in_higher:
            return None
        return "male" if (spans[0] == lower) == in_lower else "female"


def taxon(species: str, version: str = CURRENT) -> Taxon:
    """The taxon with that key, for example ``python_regius``. A species that only a later
    version lists is read as one that is not listed, under its own name. Raises
    UnknownSpecies."""
    listed = _taxa(released(version))
    if species in listed:
        return listed[species]
    later = _taxa(VERSIONS[-1]).get(species)
    if later is None:
        raise UnknownSpecies(species)
    names = {name: getattr(later, name) for name in ("key", "scientific", "common")}
    return replace(listed[NOT_LISTED], **names)


def species_list(version: str = CURRENT) -> tuple[Taxon, ...]:
    """All taxa by common name, the one for unlisted species last."""
    return tuple(
        sorted(_taxa(version).values(), key=lambda t: (t.key == NOT_LISTED, t.common.lower()))
    )


@lru_cache(maxsize=512)
def deepest_known(species: str) -> Decimal:
    """The deepest that any source has either sex of the species probe, in subcaudal scales: of
    snakes in general where none speaks of both sexes of this species. Raises UnknownSpecies."""
    kind = taxon(species)
    if kind.ground in (None, "in general"):
        kind = taxon(NOT_LISTED)
    ends = [one[1] for one in (kind.female_range, kind.male_range) if one is not None]
    return max(ends)


def unusual_pass(species: str, seen: Observation) -> int | None:
    """The number, from 0, of the first pass of a probe that went deeper than any source has the
    species probe; None where none did, or its examiner insists. Raises UnknownSpecies."""
    if not isinstance(seen, Probing) or seen.unusual:
        return None
    deepest = deepest_known(species)
    deep = (one.stopped != "aborted" and one.scales > deepest for one in seen.passes)
    return next((number for number, is_deep in enumerate(deep) if is_deep), None)


def deepest_in_words(species: str) -> str:
    """What whoever gives an unusual depth is told. Raises UnknownSpecies."""
    deepest = deepest_known(species)
    return f"No source has this species probe deeper than {deepest.normalize():f} scales."


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


@lru_cache(maxsize=512)
def as_learned(kind: Taxon, numbers: ParameterSet) -> Taxon:
    """The taxon with the depths that were learned here in place of any others, two standard
    deviations either way as published ranges are read; itself where none were."""
    female, male = (_learned_range(kind.key, sex, numbers) for sex in ("female", "male"))
    if female is None or male is None:
        return kind
    about = numbers.numbers[depth_number(kind.key, "male", "middle")]
    source = RangeSource(female, male, about.source, about.status)
    return replace(
        kind, sources=(source,), female_range=female, male_range=male, status=about.status
    )


def depth_number(key: str, sex: Sex, of: Literal["middle", "spread"]) -> str:
    """The name of a learned number: where that sex of a species usually stops a probe, and the
    standard deviation, both in scales."""
    return f"depth.{key}.{sex}.{of}"


def _learned_range(key: str, sex: Sex, numbers: ParameterSet) -> Range | None:
    middle, spread = (
        numbers.numbers.get(depth_number(key, sex, of)) for of in ("middle", "spread")
    )
    if middle is None or spread is None:
        return None
    low, high = (Decimal(f"{middle.value + way * spread.value:.1f}") for way in (-2, 2))
    return low, high


@lru_cache(maxsize=512)
def range_parameters(kind: Taxon, what: Literal["depth"] | Character) -> tuple[Parameter, ...]:
    """Every published end of a range as a parameter, all sources, for the account of what
    entered an answer."""
    sources: Sequence[RangeSource] = kind.sources
    if what == "subcaudals":
        sources = kind.subcaudal_sources
    elif what != "depth":
        sources = [one.as_ranges() for one in kind.counted(what)]
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
    return read_taxa(layers(version, "taxa.toml")[-1], version)


def read_taxa(sheet: Mapping[str, Any], version: str) -> Mapping[str, Taxon]:
    """The taxa of one sheet by their keys, those of ``version``."""
    kinds = (_taxon(row, sheet, version) for row in sheet["taxon"])
    return MappingProxyType({kind.key: kind for kind in kinds})


def _taxon(own: Mapping[str, Any], sheet: Mapping[str, Any], version: str) -> Taxon:
    row = {**sheet.get("groups", {}).get(own.get("group"), {}), **own}
    depths = tuple(map(_source, _depths(row, sheet)))
    subcaudals = tuple(map(_source, row.get("subcaudals", ())))
    return Taxon(
        **{name: row[name] for name in ("key", "scientific", "common", "sex_system")},
        sex_system_status=row.get("sex_system_status", "our judgement"),
        sex_system_source=row.get("sex_system_source", ""),
        sex_system_note=row.get("sex_system_note", ""),
        sources=depths,
        subcaudal_sources=subcaudals,
        stages=_stages(row, sheet["stages"]),
        female_range=_envelope(s.female for s in depths),
        male_range=_envelope(s.male for s in depths),
        female_subcaudals=_envelope(s.female for s in subcaudals),
        male_subcaudals=_envelope(s.male for s in subcaudals),
        status=min((s.status for s in depths), key=_WEAKEST.index, default="our judgement"),
        version=version,
        sex_system_level=row.get("sex_system_level"),
        marker=_marker(row.get("marker")),
        counts=tuple(_counts(row)),
    )


def _depths(row: Mapping[str, Any], sheet: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    """A taxon's own, or those of the list it borrows."""
    given: Sequence[Mapping[str, Any]] | str = row.get("depths", "snakes_in_general")
    borrowed: Mapping[str, Sequence[Mapping[str, Any]]] = sheet.get("depths", {})
    return borrowed.get(given, ()) if isinstance(given, str) else given


def _marker(row: Mapping[str, Any] | None) -> Marker | None:
    if row is None:
        return None
    return Marker(
        **{name: row[name] for name in ("name", "one_sex_only", "source", "status", "note")},
        males=row.get("males"),
        females=row.get("females"),
    )


def _counts(row: Mapping[str, Any]) -> Iterable[CountSource]:
    for character in get_args(Character):
        for one in row.get(character, ()):
            yield CountSource(
                character,
                _spread(one.get("female")),
                _spread(one.get("male")),
                one["source"],
                one["status"],
                one.get("note", ""),
            )


def _spread(given: Sequence[Any] | Mapping[str, Any] | None) -> Spread | None:
    if given is None:
        return None
    about = given if isinstance(given, Mapping) else dict(zip(("low", "high"), given, strict=True))
    return convert(about, Spread)


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
    female, male = (_spread(row.get(sex)) for sex in ("female", "male"))
    return RangeSource(
        None if female is None else female.ends,
        None if male is None else male.ends,
        row["source"],
        row["status"],
        row.get("note", ""),
        row.get("about", ""),
    )


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value)


def _envelope(ranges: Iterable[Range | None]) -> Range | None:
    given = [found for found in ranges if found is not None]
    return (min(low for low, _ in given), max(high for _, high in given)) if given else None
