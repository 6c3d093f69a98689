"""What statements of traits say of an animal's genotype, as likelihoods.

A statement that an animal shows or carries something is made of few animals: mostly of those
that do. How far it is to be believed is therefore given as the share of such statements that are
right of animals of unknown origin, and turned into a likelihood with the alleles' frequencies; so
it counts for less against what parents and young show. A statement that it does not is
made of most animals; there the share of carriers overlooked counts.
"""

from collections.abc import Iterable, Mapping

from scalewitness.domain.genetics.pedigree import Likelihoods
from scalewitness.domain.genetics.stated import SEEN, Basis, Says, Statement
from scalewitness.domain.genetics.traits import WILD, Genotype, Locus

_RIGHT: Mapping[Basis, str] = {"seen": "seen_right", "dna": "dna_right"}
_MISSED: Mapping[Basis, str] = {"seen": "overlooked", "dna": "dna_missed"}
_COPIES: Mapping[Says, int] = {
    "carries_one": 1,
    "carries_two": 2,
    "carries_none": 0,
    "may_carry": 1,
}


def evidence(
    statements: Iterable[Statement],
    loci: Iterable[Locus],
    *,
    has_parents: bool = False,
    has_young: bool = False,
) -> dict[str, Likelihoods]:
    """Likelihoods by locus key from what was stated of one animal. What comes to the same counts
    once as seen, once as tested and once as claimed or concluded, whoever states it and in
    whatever words: people repeat each other. ``has_parents`` and ``has_young``: these are in the
    pedigree, so what is only concluded from them counts no second time. What the loci do
    not name, or never compute, says nothing."""
    known = {one.key: one for one in loci if one.computed}
    found: dict[str, Likelihoods] = {}
    once: set[tuple[object, ...]] = set()
    for one in statements:
        concluded = (has_parents and (one.basis == "parents" or one.says == "may_carry")) or (
            has_young and one.basis == "young"
        )
        if one.locus not in known or concluded:
            continue
        locus = known[one.locus]
        name = (locus.key, meaning(locus, one.says, one.allele), _RIGHT.get(one.basis))
        if name in once:
            continue
        once.add(name)
        earlier = found.get(locus.key)
        new = likelihoods(locus, one)
        found[locus.key] = new if earlier is None else {g: p * earlier[g] for g, p in new.items()}
    return found


def likelihoods(locus: Locus, one: Statement) -> Likelihoods:
    """How likely the statement is of an animal of each genotype, but for a common factor."""
    meant = meaning(locus, one.says, one.allele)
    if one.says in ("does_not_show", "carries_none"):
        return _denied(locus, one, meant)
    share = one.chance if one.says == "may_carry" and one.chance is not None else _right(locus, one)
    weights = _shown(locus, meant) if one.says == "shows" else dict.fromkeys(meant, 1.0)
    inside = sum(locus.prior(g) * p for g, p in weights.items())
    outside = sum(locus.prior(g) for g in locus.genotypes if g not in weights)
    if inside <= 0 or outside <= 0 or share <= 0:
        return dict.fromkeys(locus.genotypes, 1.0)
    wrong = (1 - share) / share * inside / outside
    return {g: weights.get(g, wrong) for g in locus.genotypes}


def meaning(locus: Locus, says: Says, allele: str | None) -> frozenset[Genotype]:
    """The genotypes of which it is true. ``allele``: of the locus, or a look where the statement
    is about one; None for any other than the wild type."""
    if says in SEEN:
        looks = {one.key: one.genotypes for one in locus.looks if one.key != WILD}
        shown = looks[allele] if allele in looks else _showing(locus, allele, looks.values())
        return shown if says == "shows" else frozenset(locus.genotypes) - shown
    counted = locus.alleles[1:] if allele is None else (allele,)
    copies = _COPIES[says]
    return frozenset(g for g in locus.genotypes if sum(map(g.count, counted)) == copies)


def chance_of(
    locus: Locus, says: Says, allele: str | None, chances: Mapping[Genotype, float]
) -> float:
    """The chance that it is true of an animal with these chances of genotypes."""
    meant = meaning(locus, says, allele)
    return sum(p for genotype, p in chances.items() if genotype in meant)


def _showing(
    locus: Locus, allele: str | None, looks: Iterable[frozenset[Genotype]]
) -> frozenset[Genotype]:
    shown = frozenset[Genotype]().union(*looks) & frozenset(locus.genotypes)
    return frozenset(g for g in shown if allele is None or allele in g)


def _right(locus: Locus, one: Statement) -> float:
    return locus.number(_RIGHT.get(one.basis, "claim_right"))


def _shown(locus: Locus, meant: frozenset[Genotype]) -> dict[Genotype, float]:
    """Of animals that show the trait at all: as stated, or in another way and taken for that."""
    penetrance, confused = locus.number("penetrance"), locus.number("confused")
    return {
        g: penetrance * (1.0 if g in meant else confused)
        for g in locus.genotypes
        if locus.look(g).key != WILD
    }


def _denied(locus: Locus, one: Statement, meant: frozenset[Genotype]) -> Likelihoods:
    missed = _MISSED.get(one.basis)
    wrong = 1 - locus.number("claim_right") if missed is None else locus.number(missed)
    if one.says == "does_not_show":
        wrong += (1 - locus.number("penetrance")) * (1 - wrong)
    return {g: 1.0 if g in meant else wrong for g in locus.genotypes}
