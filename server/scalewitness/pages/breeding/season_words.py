"""A season in words and lines: the grid, what it should bring, what it hangs on, what to do."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal
from uuid import UUID

from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pairings import PairingSeen
from scalewitness.domain.consequences import sex_of, verified_sex
from scalewitness.domain.genetics.trade_words import chance_in_words
from scalewitness.domain.methods import METHODS
from scalewitness.domain.season.by_hand import PairingWorth
from scalewitness.domain.season.outlook import Change, CheckAhead, OutlookBody
from scalewitness.domain.season.values import Chosen
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.pages.breeding.paired import in_words
from scalewitness.pages.breeding.season_forms import AcceptForm, accepting
from scalewitness.seasons.queries.shown import SeasonShown

Line = Literal["whole", "dashed", "dotted", "broken"]
LINES: Final[Mapping[Line, str]] = {
    "whole": "both verified as planned",
    "dashed": "one is probable only",
    "dotted": "the sex of one is open",
    "broken": "the record speaks against one",
}
"""From the surest on, with what each means."""
OBJECTIONS: Final = {
    "same_animal": "The two are one animal.",
    "other_species": "They are of two species.",
    "not_available": "One of them is not there to breed.",
    "kin": "They are closer kin than you want.",
    "harmed_young": "Some of their young would be harmed.",
    "same_sex": "They are hardly a male and a female.",
    "barred": "It is never proposed.",
}
SHOWN: Final = 8
"""Rows of a list before the rest is folded (our judgement)."""
Names = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class PlannedCell:
    """A planned pairing: its line, in words, and how many wanted young are expected of it."""

    line: Line
    words: str
    young: str


@dataclass(frozen=True, slots=True)
class DamRow:
    animal: UUID
    title: str
    label: str
    cells: Sequence[PlannedCell | None]


@dataclass(frozen=True, slots=True)
class Offer:
    """A change to the plan that can be taken up."""

    heading: str
    dropped: Sequence[str]
    added: Sequence[str]
    words: str
    form: AcceptForm


def titles(season: SeasonShown) -> dict[str, str]:
    """What its animals are called, by id."""
    return {str(pk): title_of(one) for pk, one in season.animals.items()}


def season_in_words(season: SeasonShown) -> dict[str, Any]:
    """The context of its page."""
    found, named = season.outlook, titles(season)
    context: dict[str, Any] = {
        "pairings": in_words(season.pairings),
        "grid": _grid(season, named),
        "lines": LINES.items(),
    }
    if found is None:
        return context
    return context | {
        "worth": _worth(found),
        "unknown": [taxon(one).common for one in found.unknown],
        "broken": _broken(found, named),
        "offers": list(_offers(season, found, named)),
        "falls": _falls(found, named),
        "checks": _checks(found, named),
        "objections": list(_objections(found, named)),
        "alternatives": [
            (pair_in_words(pair, named), f"{costs:.1f}") for pair, costs in found.alternatives
        ],
    }


def _grid(season: SeasonShown, named: Names) -> dict[str, Any]:
    """Females down, males across: those that are planned."""
    cells: dict[tuple[UUID, UUID], PlannedCell] = {}
    labels: dict[UUID, str] = {}
    worth = {}
    if season.outlook is not None:
        worth = {one.pair: one for one in season.outlook.worth.pairings}
    for one in season.pairings:
        sire, dam = one.pairing.sire_id, one.pairing.dam_id
        if not one.whole:
            continue
        labels |= {sire: one.labels[0], dam: one.labels[1]}
        cells[dam, sire] = _cell(one, worth.get(Chosen(str(sire), str(dam))))
    sires = sorted({sire for _, sire in cells}, key=lambda one: named[str(one)].casefold())
    dams = sorted({dam for dam, _ in cells}, key=lambda one: named[str(one)].casefold())
    return {
        "sires": [(one, named[str(one)], labels[one]) for one in sires],
        "rows": [
            DamRow(dam, named[str(dam)], labels[dam], [cells.get((dam, sire)) for sire in sires])
            for dam in dams
        ],
    }


def _cell(one: PairingSeen, worth: PairingWorth | None) -> PlannedCell:
    line = _line(*one.labels)
    young = f"{sum(worth.young.values()):.1f}" if worth else ""
    awaits = "; not agreed yet" if one.awaits else ""
    return PlannedCell(line, f"{LINES[line]}{awaits}", young)


def _line(sire: str, dam: str) -> Line:
    sexes = (("male", sire), ("female", dam))
    if any(sex_of(label) not in {None, sex} for sex, label in sexes):
        return "broken"
    if all(verified_sex(label) == sex for sex, label in sexes):
        return "whole"
    return "dashed" if all(sex_of(label) == sex for sex, label in sexes) else "dotted"


def _worth(found: OutlookBody) -> dict[str, str]:
    worth = found.worth
    return {
        "expected": f"{worth.expected:.1f}",
        "error": f"{worth.error:.1f}",
        "worst": f"{worth.worst:.1f}",
        "strict": f"{worth.strict:.1f}",
    }


def _broken(found: OutlookBody, named: Names) -> dict[str, Any] | None:
    broken = found.broken
    if broken is None:
        return None
    lost = None if broken.before is None else broken.before - found.worth.expected
    return {
        "animals": [(one, named[one]) for one in broken.animals],
        "pairs": [pair_in_words(one, named) for one in broken.pairs],
        "before": None if broken.before is None else f"{broken.before:.1f}",
        "now": f"{found.worth.expected:.1f}",
        "lost": None if lost is None else f"{max(lost, 0.0):.1f}",
        "position": broken.position,
    }


def _offers(season: SeasonShown, found: OutlookBody, named: Names) -> Iterable[Offer]:
    """Nothing can be taken up that was worked out from another plan."""
    if not season.stands:
        return
    repair, best = found.repair, found.best
    if best and repair and (best.dropped, best.added) == (repair.dropped, repair.added):
        repair = None
    repairs = "The best repair" if found.broken else "What few changes would bring"
    for change, heading in ((repair, repairs), (best, "The best plan")):
        if change is not None and (change.dropped or change.added):
            yield _offer(season, change, heading, named)


def _offer(season: SeasonShown, change: Change, heading: str, named: Names) -> Offer:
    gap = f"; a better one could bring at most {100 * change.gap:.0f} in 100 more of it"
    return Offer(
        heading=heading,
        dropped=[pair_in_words(one, named) for one in change.dropped],
        added=[pair_in_words(one, named) for one in change.added],
        words=f"It should bring {change.expected:.1f}, in a bad season {change.worst:.1f}"
        f"{gap if change.gap >= 0.005 else ''}.",
        form=accepting(change, season.planned),
    )


def _falls(found: OutlookBody, named: Names) -> list[dict[str, Any]]:
    expected = found.worth.expected
    return [
        {
            "animal": one.animal,
            "title": named[one.animal],
            "chance": chance_in_words(one.chance),
            "loses": f"{max(expected - one.left, 0.0):.1f}",
            "after": f"{one.after:.1f}",
            "mends": [pair_in_words(pair, named) for pair in one.plan if pair not in found.plan],
        }
        for one in found.falls
    ]


def _checks(found: OutlookBody, named: Names) -> list[dict[str, Any]]:
    return [
        {
            "animal": one.animal,
            "title": named[one.animal],
            "how": f"{METHODS[one.method].noun} by {WHOSE[one.by]}{_again(one)}",
            "of": f"what it carries at {one.locus.rpartition('/')[2]}" if one.locus else "its sex",
            "gains": f"{one.gains:.2f}",
            "certain": f"{one.certain:.2f}",
            "minutes": f"{one.minutes:.0f}",
            "worth_it": one.net > 0,
        }
        for one in found.checks
        if one.gains >= 0.005
    ]


def _again(one: CheckAhead) -> str:
    return " and then by one more" if one.times > 1 else ""


WHOSE = {
    "owner": "its keeper",
    "guest": "another keeper",
    "veterinarian": "a veterinarian",
    "laboratory": "a laboratory",
}


def _objections(found: OutlookBody, named: Names) -> Iterable[tuple[str, str]]:
    for one in found.worth.pairings:
        if one.objections:
            yield (
                pair_in_words(one.pair, named),
                " ".join(OBJECTIONS[each.why] for each in one.objections),
            )


def pair_in_words(pair: Chosen, named: Names) -> str:
    return f"{named[pair.dam]} with {named[pair.sire]}"
