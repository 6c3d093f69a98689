"""Whose young an animal may be: who died too early for it, and how sure what is stated of its
parents is."""

from collections.abc import Collection, Hashable, Mapping
from datetime import date, timedelta
from typing import Literal, TypeVar

from msgspec import Struct

Role = Literal["sire", "dam"]
One = TypeVar("One", bound=Hashable)
Doubt = Literal[
    "no_test", "kept_sperm", "second_male", "sire_unnamed", "dam_unnamed", "own_ancestor"
]
"""Why a parent that is stated, or none, is not certain."""

TO_HATCH = timedelta(days=200)
"""From the eggs to the young: the longest incubation with time to spare (our judgement)."""
SPERM_KEPT = timedelta(days=6 * 366)
"""A female kept sperm for six years (Levine et al. 2021, PLoS ONE 16:e0252049)."""
STATED_WRONGLY = 0.01
"""Chance that a parent who is stated, and was confirmed by no test, is another (our judgement: no
figure is published of snakes)."""
OF_KEPT_SPERM = 0.05
"""Chance that young are of a male she was with in an earlier season, of all of them together (our
judgement: that sperm is kept for years is published, how often it sires is not)."""
OF_SECOND_MALE = 0.2
"""Chance that one of the young is of another male meant for her in the same season, of all of them
together (our judgement: 3 of 4 clutches of Python bivittatus had two sires, shared from evenly to
very unevenly; J Herpetol 55:355, 2021)."""

WITHOUT_SIRE = 0.05
"""Chance that young of whom no sire is stated have none, where no male on record was with the dam
(our judgement: a page tells of up to 5 in 100 litters of wild pitvipers, Booth et al. 2012)."""


def died_too_early(role: Role, died: date, hatched: date) -> bool:
    """Whether it had died long before the young could be its own: a dam, before the eggs; a sire,
    before the mating whose sperm a dam may have kept."""
    after = TO_HATCH if role == "dam" else SPERM_KEPT + TO_HATCH
    return hatched - died > after


class Chances(Struct, frozen=True):
    """Who a parent may be, each with its chance; None: one that the record does not know.
    ``doubts``: why it is not certain; empty where it is."""

    of: Mapping[Hashable, float]
    doubts: tuple[Doubt, ...]

    def without_others(self, stated: Hashable) -> "Chances":
        """All others than the one ``stated`` are taken as unknown animals."""
        chance = self.of.get(stated, 0.0) if stated is not None else 0.0
        return Chances({stated: chance, None: 1 - chance} if chance else {None: 1.0}, self.doubts)


OWN_ANCESTOR = Chances({None: 1.0}, ("own_ancestor",))
"""Of one that would descend from itself: what is stated of its parents cannot all be so."""


def dams(stated: One | None, *, tested: bool) -> Chances:
    """``tested``: a test of parents confirmed it."""
    if stated is None:
        return Chances({None: 1.0}, ("dam_unnamed",))
    if tested:
        return Chances({stated: 1.0}, ())
    return Chances({stated: 1 - STATED_WRONGLY, None: STATED_WRONGLY}, ("no_test",))


def sires(
    stated: One | None, *, tested: bool, earlier: Collection[One], beside: Collection[One]
) -> Chances:
    """``earlier``: other males that the dam was with in the years from which she may have kept
    sperm; ``beside``: those meant for her in the same season."""
    if stated is None:
        return Chances({None: 1.0}, ("sire_unnamed",))
    if tested:
        return Chances({stated: 1.0}, ())
    others: dict[Hashable, float] = {None: STATED_WRONGLY}
    doubts: list[Doubt] = ["no_test"]
    for males, chance, doubt in (
        (set(earlier) - set(beside) - {stated}, OF_KEPT_SPERM, "kept_sperm"),
        (set(beside) - {stated}, OF_SECOND_MALE, "second_male"),
    ):
        others |= {one: chance / len(males) for one in males}
        doubts += [doubt] if males else []  # type: ignore[list-item]
    return Chances({stated: 1 - sum(others.values()), **others}, tuple(doubts))


def in_loops(parents: Mapping[One, Collection[One]]) -> set[One]:
    """Those that are their own ancestors, or stand between two that are, as somebody stated it."""
    young: dict[One, list[One]] = {}
    for one, named in parents.items():
        for parent in named:
            young.setdefault(parent, []).append(one)
    return _left(_left(set(parents) | set(young), parents), young)


def _left(ones: set[One], ahead: Mapping[One, Collection[One]]) -> set[One]:
    """Those from which one never comes to an end, however one goes on ``ahead`` among them."""
    open_ways = {one: sum(each in ones for each in ahead.get(one, ())) for one in ones}
    behind: dict[One, list[One]] = {}
    for one in ones:
        for each in ahead.get(one, ()):
            behind.setdefault(each, []).append(one)
    ended = [one for one, ways in open_ways.items() if not ways]
    for one in ended:  # grows meanwhile
        for each in behind.get(one, ()):
            open_ways[each] -= 1
            if not open_ways[each]:
                ended.append(each)
    return ones - set(ended)
