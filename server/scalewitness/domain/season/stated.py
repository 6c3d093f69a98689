"""What keepers state of a season: what they want of it, and what is possible; as it is kept."""

from typing import Annotated, Final, Literal

from msgspec import Meta, Struct

from scalewitness.domain.facts.shapes import Id
from scalewitness.domain.genetics.traits import Genotype, Locus, UnknownLocus, locus
from scalewitness.domain.genetics.young import WantedYoung
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.values import Availability, Limits, Want

Share = Annotated[float, Meta(ge=0, le=1)]
Usable = Literal["offered", "on_loan", "for_sale", "resting", "too_young", "too_light"]
YEARS = range(2000, 2101)
"""Of which a season can be, as of pairings."""
Room = Annotated[int, Meta(ge=1, le=10_000)]
FEMALES_PER_MALE: Final = int(season_number("limits", "females_per_male"))
KINSHIP: Final = season_number("limits", "kinship")


class TraitWanted(Struct, frozen=True, forbid_unknown_fields=True):
    """At a locus of the species' sheet either a look or a genotype, by their keys."""

    species: Annotated[str, Meta(min_length=1, max_length=60)]
    locus: Annotated[str, Meta(min_length=1, max_length=60)]
    look: Annotated[str, Meta(min_length=1, max_length=60)] | None = None
    genotype: Annotated[tuple[str, ...], Meta(min_length=1, max_length=2)] | None = None


class WantStated(Struct, frozen=True, forbid_unknown_fields=True):
    """Young with all of these ``traits``, of that ``sex``, of a parent of this ``line``: each left
    empty is any. Each such young is worth ``weight``, up to ``most`` of them."""

    traits: Annotated[tuple[TraitWanted, ...], Meta(max_length=6)] = ()
    sex: Literal["male", "female"] | None = None
    line: Annotated[tuple[Id, ...], Meta(max_length=60)] = ()
    weight: Annotated[float, Meta(gt=0, le=1000)] = 1.0
    most: Annotated[int, Meta(ge=1, le=10_000)] | None = None


class LimitsStated(Struct, frozen=True, forbid_unknown_fields=True):
    """As `values.Limits`: how many females a male serves, the kinship of two animals at most
    (until their keeper says otherwise as in ``data/season.toml``), room for so many clutches and
    young, what else than animals that are ready may be proposed, and how much the worst tenth of
    seasons counts."""

    females_per_male: Annotated[int, Meta(ge=1, le=60)] = FEMALES_PER_MALE
    kinship: Share | None = KINSHIP
    clutches: Room | None = None
    young: Room | None = None
    use: tuple[Usable, ...] = ()
    caution: Share = 0.0


class NotWanted(ValueError):
    """A trait that the sheet of the species does not have, or that is never computed."""

    def __init__(self, want: int, trait: int, why: str) -> None:
        super().__init__(why)
        self.pointer = f"/wants/{want}/traits/{trait}"


ANY = WantStated()
"""What is wanted of a season that says nothing: every young is worth 1."""


def key_of(species: str, locus: str) -> str:
    """Of a locus among those of several species."""
    return f"{species}/{locus}"


def wants_of(stated: tuple[WantStated, ...]) -> tuple[Want, ...]:
    """As planning takes them, in the order given. Raises NotWanted."""
    return tuple(_want(n, one) for n, one in enumerate(stated or (ANY,)))


def limits_of(stated: LimitsStated) -> Limits:
    use: frozenset[Availability] = frozenset(stated.use)
    return Limits(
        females_per_male=stated.females_per_male,
        kinship=stated.kinship,
        clutches=stated.clutches,
        young=stated.young,
        use=use,
        caution=stated.caution,
        least=season_number("limits", "least"),
    )


def _want(n: int, stated: WantStated) -> Want:
    looks: dict[str, frozenset[str]] = {}
    genotypes: dict[str, frozenset[Genotype]] = {}
    for m, one in enumerate(stated.traits):
        found = _locus(n, m, one)
        if one.look is not None:
            looks[key_of(one.species, one.locus)] = frozenset({one.look})
        elif one.genotype is not None:
            wanted = frozenset({found.genotype(*one.genotype)})
            genotypes[key_of(one.species, one.locus)] = wanted
    male = None if stated.sex is None else stated.sex == "male"
    wanted_young = WantedYoung(male=male, looks=looks, genotypes=genotypes)
    return Want(str(n), stated.weight, wanted_young, frozenset(stated.line), stated.most)


def _locus(n: int, m: int, one: TraitWanted) -> Locus:
    try:
        found = locus(one.species, one.locus)
    except UnknownLocus:
        raise NotWanted(n, m, "The sheet of the species has no such locus.") from None
    if not found.computed:
        raise NotWanted(n, m, "How it is inherited is not known: nothing is computed of it.")
    if (one.look is None) == (one.genotype is None):
        raise NotWanted(n, m, "Say either a look or a genotype.")
    if one.look is not None and one.look not in {each.key for each in found.looks}:
        raise NotWanted(n, m, "The locus has no such look.")
    if one.genotype is not None and not set(one.genotype) <= set(found.alleles):
        raise NotWanted(n, m, "The locus has no such allele.")
    return found
