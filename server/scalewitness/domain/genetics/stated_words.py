"""Statements of traits in words, the trade's beside plain ones."""

from scalewitness.domain.genetics.stated import BASES_IN_WORDS, SAYS_IN_WORDS, Statement
from scalewitness.domain.genetics.traits import WILD, Locus, loci_of


def locus_named(species: str, key: str | None) -> Locus | None:
    """Of the species' sheet; None where it names no such."""
    return next((one for one in loci_of(species) if one.key == key), None)


def trait_in_words(species: str, locus: str, allele: str | None = None) -> str:
    """What a trait is called; a key that the sheet no longer has, as it stands."""
    found = locus_named(species, locus)
    if found is None:
        return (allele or locus).replace("_", " ")
    named = allele or next(iter(found.alleles[1:]), None)
    looks = (one.words for one in found.looks if one.key == named != WILD)
    return next(looks, (named or found.name).replace("_", " "))


def statement_in_words(species: str, one: Statement) -> str:
    """As “carries one copy of albino (100 % het)”; without who says so and how they know."""
    if one.locus is None:
        trait = f"“{one.words}”" if one.words else "a trait in words that were erased"
    else:
        trait = trait_in_words(species, one.locus, one.allele)
    return f"{SAYS_IN_WORDS[one.says]} {trait}{_of_the_trade(species, one)}"


def basis_in_words(one: Statement) -> str:
    """As “by a DNA test (Valley Bench, sample B-1177)”."""
    beside = [one.laboratory, f"sample {one.sample}" if one.sample else ""]
    named = ", ".join(filter(None, beside))
    return f"{BASES_IN_WORDS[one.basis]}{f' ({named})' if named else ''}"


def _of_the_trade(species: str, one: Statement) -> str:
    """One copy of a recessive is “100 % het” among keepers; a chance of it, “66 % het”."""
    found = locus_named(species, one.locus)
    if one.chance is not None:
        of = "possible het" if found is None or found.inheritance == "recessive" else "possible"
        return f" ({100 * one.chance:.3g} % {of})"
    if one.says == "carries_one" and found is not None and found.inheritance == "recessive":
        return " (100 % het)"
    return ""
