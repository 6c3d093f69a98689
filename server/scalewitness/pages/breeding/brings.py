"""The young of a pairing, in a table and in bars."""

from collections.abc import Iterator
from typing import Any

from django.utils.safestring import SafeString

from scalewitness.breeding.queries.brings import (
    NEVER,
    ClutchExpected,
    YoungExpected,
    left_out_in_words,
    young_expected,
)
from scalewitness.breeding.queries.prospects import PairSeen
from scalewitness.domain.genetics.trade_words import (
    chance_in_words,
    genotype_in_words,
    locus_in_words,
    look_in_words,
)
from scalewitness.domain.genetics.traits import Locus
from scalewitness.domain.genetics.young import Prospects
from scalewitness.pages.plots.bars import Bar, bars


def brings_shown(
    pair: PairSeen, brings: Prospects, clutch: ClutchExpected, least: int
) -> dict[str, Any]:
    found = young_expected(pair, brings, clutch, least)
    return {
        "rows": list(_rows(found)),
        "left_out": left_out_in_words(found),
        "least": least,
        "loci": [part for one in pair.stock.loci for part in _of_locus(brings, one)],
        "sexes": _sexes(found),
        "lost": chance_in_words(found.lost) if found.lost > NEVER else "",
    }


def _rows(found: YoungExpected) -> Iterator[dict[str, str]]:
    for one in found.alike:
        row = {"looks": one.words, "chance": chance_in_words(one.chance)}
        if one.expected is not None and one.least is not None and one.overall is not None:
            row["expected"] = f"{one.expected:.1f}"
            row["least"] = chance_in_words(one.least)
            row["overall"] = chance_in_words(one.overall)
        yield row


def _of_locus(brings: Prospects, locus: Locus) -> Iterator[SafeString]:
    name = locus_in_words(locus)
    harm = {genotype for one in locus.harm for genotype in one.genotypes}
    looks = [
        Bar(look_in_words(locus, key), p, chance_in_words(p))
        for key, p in brings.looks(locus.key).items()
    ]
    genotypes = [
        Bar(genotype_in_words(locus, one), p, chance_in_words(p), warns=one in harm)
        for one, p in brings.genotypes(locus.key).items()
    ]
    yield bars(f"Looks: {name}", _ranked(looks), "Look")
    yield bars(f"Genotypes: {name}", _ranked(genotypes), "Genotype")


def _ranked(rows: list[Bar]) -> list[Bar]:
    return sorted((one for one in rows if one.chance > NEVER), key=lambda one: -one.chance)


def _sexes(found: YoungExpected) -> SafeString:
    shares = (("Males", found.males), ("Females", 1 - found.males))
    rows = [Bar(words, p, chance_in_words(p)) for words, p in shares]
    return bars("Sexes of the living young", rows, "Sex")
