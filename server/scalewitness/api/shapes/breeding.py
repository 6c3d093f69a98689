"""What animals carry, and what a pairing should bring, as shown."""

from collections.abc import Iterable, Mapping
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.breeding.queries.brings import ClutchExpected, YoungExpected
from scalewitness.breeding.queries.carrying import CarriedAt, Stock
from scalewitness.breeding.queries.pedigrees import PedigreeSeen, ancestry
from scalewitness.breeding.queries.prospects import KinshipSeen, Mate, PairSeen
from scalewitness.breeding.queries.proving import YoungNeeded, provings
from scalewitness.breeding.queries.rests_on import rests_on
from scalewitness.domain.genetics.carried import Bounded
from scalewitness.domain.genetics.kinship_words import kinship_in_words
from scalewitness.domain.genetics.trade_words import genotype_in_words, look_in_words
from scalewitness.domain.genetics.traits import Genotype, Inheritance, Locus
from scalewitness.domain.genetics.young import HarmExpected, Prospects
from scalewitness.domain.parents import Doubt
from scalewitness.domain.season.before_pairing import PairingCaution
from scalewitness.standings.queries.logged import label_of

GENERATIONS = 3
"""Of a pedigree that is shown."""


class GenotypeChance(Struct, frozen=True):
    """``genotype``: its alleles, one alone where a sex has one such chromosome."""

    genotype: list[str]
    words: str
    chance: float


class GenotypeBounds(Struct, frozen=True):
    """The true chance lies between these, whatever relatives that were left out carry."""

    genotype: list[str]
    low: float
    high: float


class CarriedLocus(Struct, frozen=True):
    """At one locus of the species' sheet, likeliest first. ``from_nearest``: so many relatives
    only, where all of them were too tangled; then ``bounds`` hold. ``contradicts``: what is stated
    cannot all be so, and nothing is worked out. ``status`` and ``source`` are those of how it is
    inherited; ``rests_on`` says in words what the chances rest on."""

    locus: str
    name: str
    inheritance: Inheritance
    status: str
    source: str
    chances: list[GenotypeChance]
    bounds: list[GenotypeBounds]
    from_nearest: int | None
    contradicts: bool
    rests_on: list[str]


class AncestorStated(Struct, frozen=True):
    """The animal or one of its ancestors, up to three generations. ``label`` None: the reader may
    not see it. ``sire_doubts`` and ``dam_doubts``: why those are not certain; empty where a
    test confirmed them."""

    id: UUID
    label: words.Label | None
    sire: UUID | None
    dam: UUID | None
    sire_doubts: list[Doubt]
    dam_doubts: list[Doubt]


class CarriedShown(Struct, frozen=True):
    """Worked out from what this reader may see: ``relatives`` so many animals beside it."""

    animal: UUID
    relatives: int
    loci: list[CarriedLocus]
    pedigree: list[AncestorStated]


def carried_shown(
    found: PedigreeSeen, stock: Stock, animal: UUID, at: Mapping[str, CarriedAt]
) -> CarriedShown:
    return CarriedShown(
        animal=animal,
        relatives=len(found.relatives) - 1,
        loci=[_locus(found, animal, one, at[one.key]) for one in stock.loci],
        pedigree=[_ancestor(found, one) for one in sorted(ancestry(found, animal, GENERATIONS))],
    )


def _locus(found: PedigreeSeen, animal: UUID, locus: Locus, at: CarriedAt) -> CarriedLocus:
    return CarriedLocus(
        locus=locus.key,
        name=locus.name,
        inheritance=locus.inheritance,
        status=locus.status,
        source=locus.source,
        chances=_genotypes(locus, at.chances.get(animal, {})),
        bounds=_bounds(at.bounds),
        from_nearest=at.taken,
        contradicts=at.contradicts,
        rests_on=rests_on(found, found.relatives[animal], locus),
    )


def _genotypes(locus: Locus, chances: Mapping[Genotype, float]) -> list[GenotypeChance]:
    ranked = sorted(chances.items(), key=lambda one: -one[1])
    return [GenotypeChance(list(one), genotype_in_words(locus, one), p) for one, p in ranked]


def _bounds(bounds: Bounded | None) -> list[GenotypeBounds]:
    if bounds is None:
        return []
    return [GenotypeBounds(list(one), bounds.low[one], high) for one, high in bounds.high.items()]


def _ancestor(found: PedigreeSeen, animal: UUID) -> AncestorStated:
    one = found.relatives[animal]
    return AncestorStated(
        id=one.id,
        label=label_of(one.standing) if one.animal else None,
        sire=one.sire,
        dam=one.dam,
        sire_doubts=list(one.sires.doubts),
        dam_doubts=list(one.dams.doubts),
    )


class KinshipShown(Struct, frozen=True):
    """``kinship``: the coefficient of the two, which is the inbreeding of their young, as far as
    the reader knows their pedigrees. ``generations``: of so many alone, where they have too many
    ancestors; with all of them it can only be more."""

    kinship: float
    generations: int | None
    words: list[str]


def kinship_shown(found: KinshipSeen) -> KinshipShown:
    words = kinship_in_words(found.coefficient, found.generations)
    return KinshipShown(found.coefficient, found.generations, words)


class CautionShown(Struct, frozen=True):
    """``rests_on``: status and source of the figure in it, empty where there is none."""

    text: str
    rests_on: str


class MateShown(Struct, frozen=True):
    """One of the two. ``chance``: that it is of the sex that it is meant as; ``strictly``: trusting
    every call less. ``others_planned``: other pairings with it for the season."""

    animal: UUID
    label: words.Label
    chance: float
    strictly: float
    cautions: list[CautionShown]
    others_planned: list[UUID]


class AlikeShown(Struct, frozen=True):
    """Living young that look alike. ``chance``: of one egg; ``expected``: of a clutch;
    ``at_least``: as many as were asked for; ``overall``: that times the chance that the two
    are a pair. None where nothing is known of how many there are."""

    looks: str
    chance: float
    expected: float | None
    at_least: float | None
    overall: float | None


class LookChance(Struct, frozen=True):
    look: str
    words: str
    chance: float


class YoungAtLocus(Struct, frozen=True):
    """Of conceived young, those that do not live among them."""

    locus: str
    looks: list[LookChance]
    genotypes: list[GenotypeChance]


class HarmOfYoung(Struct, frozen=True):
    """Published harm, for which the pairing is never proposed."""

    locus: str
    kind: str
    caution: str
    chance: float
    status: str
    source: str


class YoungNeededShown(Struct, frozen=True):
    """``chance``: that the parent carries the allele; ``needed``: young more, none showing it, to
    be 95 in 100 sure that it does not; None: no number does."""

    parent: UUID
    locus: str
    allele: str
    chance: float
    needed: int | None


class ProspectsShown(Struct, frozen=True):
    """``pair``: the chance that they are a male and a female, whichever is which, and ``strictly``
    trusting every call less; all chances of young hold if they are. ``not_worked_out``: why there
    are none. ``from_nearest``: of so many relatives only, where all were too tangled. ``clutch``:
    how many young, in words, and what that rests on. ``males``: the share of the living young;
    ``lost``: of those that do not live by their genotype."""

    sire: MateShown
    dam: MateShown
    season: int
    pair: float
    strictly: float
    kinship: KinshipShown
    harm: list[HarmOfYoung]
    not_worked_out: str | None
    from_nearest: int | None
    clutch: str
    clutch_rests_on: str
    alike: list[AlikeShown]
    loci: list[YoungAtLocus]
    proving: list[YoungNeededShown]
    males: float | None
    lost: float | None


def prospects_shown(
    pair: PairSeen, clutch: ClutchExpected, young: YoungExpected | None
) -> ProspectsShown:
    brings, loci = pair.brings, pair.stock.loci
    both = pair.sire.animal.pk, pair.dam.animal.pk
    return ProspectsShown(
        sire=_mate(pair.sire),
        dam=_mate(pair.dam),
        season=pair.season,
        pair=pair.together,
        strictly=pair.strictly,
        kinship=kinship_shown(pair.kinship),
        harm=[_harm(one) for one in pair.harmed],
        not_worked_out=pair.why,
        from_nearest=pair.taken,
        clutch=clutch.words,
        clutch_rests_on=clutch.rests_on,
        alike=_alike(young) if young else [],
        loci=[_young_at(brings, one) for one in loci] if brings else [],
        proving=_provings(provings(brings, loci, *both)) if brings else [],
        males=young.males if young else None,
        lost=young.lost if young else None,
    )


def _mate(one: Mate) -> MateShown:
    return MateShown(
        animal=one.animal.pk,
        label=one.label,
        chance=one.plainly,
        strictly=one.strictly,
        cautions=[_caution(each) for each in one.cautions],
        others_planned=[each.pairing.pk for each in one.others],
    )


def _caution(one: PairingCaution) -> CautionShown:
    return CautionShown(one.text, one.rests_on)


def _harm(one: HarmExpected) -> HarmOfYoung:
    harm = one.harm
    return HarmOfYoung(one.locus, harm.kind, harm.caution, one.chance, harm.status, harm.source)


def _alike(young: YoungExpected) -> list[AlikeShown]:
    return [
        AlikeShown(one.words, one.chance, one.expected, one.least, one.overall)
        for one in young.alike
    ]


def _young_at(brings: Prospects, locus: Locus) -> YoungAtLocus:
    looks = sorted(brings.looks(locus.key).items(), key=lambda one: -one[1])
    return YoungAtLocus(
        locus=locus.key,
        looks=[LookChance(key, look_in_words(locus, key), p) for key, p in looks],
        genotypes=_genotypes(locus, brings.genotypes(locus.key)),
    )


def _provings(found: Iterable[YoungNeeded]) -> list[YoungNeededShown]:
    return [
        YoungNeededShown(one.parent, one.locus.key, one.allele, one.carries, one.needed)
        for one in found
    ]
