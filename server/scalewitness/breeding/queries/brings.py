"""The young of a pairing: which look alike, and how many of them a clutch should bring."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from scalewitness.breeding.queries.prospects import PairSeen
from scalewitness.domain.genetics.trade_words import locus_in_words, look_in_words
from scalewitness.domain.genetics.traits import Locus
from scalewitness.domain.genetics.young import Prospects, WantedYoung, mean_young
from scalewitness.domain.season.before_pairing import rests_on
from scalewitness.domain.season.reproduction import breeding_figures, clutch_sizes

TOGETHER: Final = 4
"""Loci whose looks are put together: with more the list is too long to read (our judgement)."""
LISTED: Final = 16
NEVER: Final = 0.0005
"""Less likely than this, nothing is listed (our judgement)."""


@dataclass(frozen=True, slots=True)
class ClutchExpected:
    """``sizes`` empty: nothing is known of it, and only chances of one young can be given."""

    sizes: Mapping[int, float]
    words: str
    rests_on: str


@dataclass(frozen=True, slots=True)
class Alike:
    """Living young that look alike: the chance of one egg; how many a clutch brings on average, the
    chance of the number asked for, and that times the chance that the two are a pair, each None
    without a clutch."""

    words: str
    chance: float
    expected: float | None
    least: float | None
    overall: float | None


@dataclass(frozen=True, slots=True)
class YoungExpected:
    """``alike``: likeliest first; ``left_out``: loci that were not put together with the others;
    ``males``: of the living young; ``lost``: of all."""

    alike: list[Alike]
    left_out: list[Locus]
    males: float
    lost: float


def clutch_of(species: str, young: int | None) -> ClutchExpected:
    """``young``: as many as were asked for; else as the sheet has it of the species."""
    figures = breeding_figures(species)
    noun = "litter" if figures.mode.mode == "live" else "clutch"
    if young:
        return ClutchExpected({young: 1.0}, f"a {noun} of {young}", "what you asked for")
    sizes = clutch_sizes(species)
    if not sizes:
        return ClutchExpected({}, f"a {noun}", "")
    words = f"a {noun} of {min(sizes)} to {max(sizes)}, {mean_young(sizes):.1f} on average"
    return ClutchExpected(sizes, words, rests_on(figures.young[0]))


def young_expected(
    pair: PairSeen, brings: Prospects, clutch: ClutchExpected, least: int
) -> YoungExpected:
    keys = _varying(brings, pair.stock.loci)
    lost = brings.lost()
    living = 1 - lost
    return YoungExpected(
        alike=list(_alike(pair, brings, keys[:TOGETHER], clutch, least)),
        left_out=[one for one in pair.stock.loci if one.key in keys[TOGETHER:]],
        males=brings.chance(WantedYoung(male=True)) / living if living else 0.0,
        lost=lost,
    )


def _varying(brings: Prospects, loci: Sequence[Locus]) -> list[str]:
    """Loci at which not all young look alike, or some may; those that differ most first."""
    looks = {one.key: brings.looks(one.key) for one in loci}
    others = {key: 1 - max(of.values()) for key, of in looks.items()}
    return sorted((key for key in others if others[key] > NEVER), key=lambda key: -others[key])


def _alike(
    pair: PairSeen, brings: Prospects, keys: Sequence[str], clutch: ClutchExpected, least: int
) -> Iterator[Alike]:
    loci = {one.key: one for one in pair.stock.loci}
    for wanted, chance in _kinds(brings, [loci[key] for key in keys])[:LISTED]:
        expected = found = None
        if clutch.sizes:
            expected = brings.expected(wanted, clutch.sizes)
            found = brings.at_least(least, wanted, clutch.sizes)
        yield Alike(
            words=_words(wanted, loci),
            chance=chance,
            expected=expected,
            least=found,
            overall=None if found is None else found * pair.together,
        )


def _kinds(brings: Prospects, loci: Sequence[Locus]) -> list[tuple[WantedYoung, float]]:
    """Living young that look alike, by their sex where it goes with a look; likeliest first."""
    found: dict[tuple[bool | None, tuple[tuple[str, str], ...]], float] = {}
    for kind, p in brings.kinds([one.key for one in loci]) if loci else ():
        if not kind.lost:
            looks = tuple((one.key, one.look(kind.genotypes[one.key]).key) for one in loci)
            found[kind.male, looks] = found.get((kind.male, looks), 0.0) + p
    ranked = sorted(found.items(), key=lambda one: -one[1])
    return [
        (WantedYoung(male, {key: frozenset({look}) for key, look in looks}), p)
        for (male, looks), p in ranked
        if p > NEVER
    ]


def _words(wanted: WantedYoung, loci: Mapping[str, Locus]) -> str:
    sex = {None: "", True: "males, ", False: "females, "}[wanted.male]
    looks = [look_in_words(loci[key], next(iter(one))) for key, one in wanted.looks.items()]
    return sex + ", ".join(looks)


def left_out_in_words(found: YoungExpected) -> list[str]:
    return [locus_in_words(one) for one in found.left_out]
