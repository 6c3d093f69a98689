"""What happened to an animal and when, for one reader who sees it whole: nothing here may be shown
to anybody else, and the sales to nobody but who kept it then."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, time
from itertools import groupby
from typing import Final

from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString

from scalewitness.animals.models import Animal, Custody, Husbandry
from scalewitness.breeding.queries.pairings import PairingSeen
from scalewitness.calls.queries.visibility import Reader
from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.fact_words import in_words
from scalewitness.domain.habits import weight_in_words
from scalewitness.pages.animals.evidence import GROUNDS, CallInWords
from scalewitness.pages.animals.life import Life
from scalewitness.pages.plots.timeline import CARE, Happened, timeline
from scalewitness.sales.models import Sale
from scalewitness.standings.queries.logged import UNSEXED, StandingHeard

MOVED: Final = {
    "sold": "It went to its buyer.",
    "loaned": "It went on loan.",
    "returned": "It came back.",
    "given": "It was given away.",
    "moved": "It moved to another collection.",
}


def story_of(
    animal: Animal,
    life: Life,
    calls: Sequence[CallInWords],
    standings: Iterable[StandingHeard],
    pairings: Iterable[PairingSeen],
    reader: Reader,
) -> SafeString:
    """As a strip and as a list. ``calls`` and ``pairings``: as the reader may see them."""
    notes, now = life.notes, reader.now
    rare = [
        *checks_made(calls),
        *changes_of_label(standings),
        *_life(animal, life.moves),
        *_pairings(pairings),
        *_sales(sale for sale in life.sales if sale.collection_id in reader.holds),
    ]
    care = [_note(one) for one in notes]
    hatched = list(_hatched(animal))
    rows = [*rare, *hatched, *_by_month(notes), *(one for one in care if one.lane not in CARE)]
    return timeline([*_near(hatched, [*rare, *care], now), *rare, *care], rows, now)


def _near(hatched: list[Happened], others: list[Happened], now: datetime) -> list[Happened]:
    """Hatching, unless it would push all else into less than half of the strip."""
    first = min((one.at for one in others), default=now)
    return [one for one in hatched if first - one.at <= now - first]


def _hatched(animal: Animal) -> Iterator[Happened]:
    if animal.hatched:
        noon = timezone.make_aware(datetime.combine(animal.hatched, time(12)))
        yield Happened(noon, "life", "It hatched.")


def _proof(position: int | None) -> str:
    return "" if position is None else f"log position {position}"


def checks_made(calls: Iterable[CallInWords]) -> Iterator[Happened]:
    """What everybody said, and what they knew when they said it."""
    for one in calls:
        call, conclusion = one.call, one.call.conclusion
        found = "no conclusion" if conclusion == "undetermined" else conclusion
        yield Happened(
            at=call.examined_at,
            lane="check",
            key=one.key,
            blind=call.blind,
            text=f"Call {one.key}, {one.who}: {one.method}, {found}. {one.knew}.",
            proof=_proof(call.position),
        )
        if hasattr(call, "withdrawal"):
            gone = call.withdrawal
            yield Happened(
                gone.at, "life", f"Call {one.key} was withdrawn.", proof=_proof(gone.position)
            )
        for made in call.objections.all():
            text = f"Somebody objects to call {one.key}: {GROUNDS[made.ground]}."
            yield Happened(made.at, "life", text, proof=_proof(made.position))


def changes_of_label(standings: Iterable[StandingHeard]) -> Iterator[Happened]:
    """Each change of the label, when the record took in what caused it."""
    logged: list[tuple[StandingHeard, str]] = []
    label = UNSEXED
    for one in standings:
        if one.label != label or not logged:
            logged.append((one, label))
        label = one.label
    for one, before in logged:
        fell = verified_sex(before) is not None and one.label != before
        was = f" It was {before} until then." if fell else ""
        yield Happened(
            at=one.heard,
            lane="standing",
            text=f"The record says {one.label}.{was}",
            label=one.label,
            fell=fell,
            proof=_proof(one.position),
        )


def _life(animal: Animal, moves: Iterable[Custody]) -> Iterator[Happened]:
    for one in moves:
        yield Happened(one.at, "life", MOVED[one.why], proof=_proof(one.position))
    if animal.ended_at:
        text = in_words("animal_ended", {"why": animal.ended})
        yield Happened(animal.ended_at, "life", text)


def _pairings(found: Iterable[PairingSeen]) -> Iterator[Happened]:
    for one in found:
        yield Happened(
            at=one.pairing.at,
            lane="life",
            text=f"A pairing was planned for {one.pairing.season}.",
            proof=_proof(one.pairing.position),
            address="#paired",
        )


def _sales(sales: Iterable[Sale]) -> Iterator[Happened]:
    for sale in sales:
        address = reverse("sale", args=[sale.pk])
        yield Happened(sale.drafted_at, "life", "A sale was drafted.", address=address)
        for step in sale.steps.all():
            yield Happened(
                at=step.at,
                lane="life",
                text=in_words(step.kind, step.body),
                proof=_proof(step.position),
                address=address,
            )


# --- care -----------------------------------------------------------------------------


def _note(one: Husbandry) -> Happened:
    if one.type == "health":
        sign = one.noted["sign"].replace("_", " ")
        return Happened(one.at, "life", f"Health: {sign}.", proof=_proof(one.position))
    if one.type == "remark":
        return Happened(one.at, "life", "Something was noted in words.", proof=_proof(one.position))
    return Happened(one.at, _lane(one), "")


def _lane(one: Husbandry) -> str:
    return {"weight": "weight", "meal": "meal", "shed": "shed"}[one.type]


def _by_month(notes: Iterable[Husbandry]) -> Iterator[Happened]:
    """Weights, meals and sheds, a line a month for each, at the last of them."""
    often = [one for one in notes if one.type in WORDS]

    def month(one: Husbandry) -> tuple[str, int, int]:
        when = timezone.localtime(one.at)
        return one.type, when.year, when.month

    for (kind, _, _), found in groupby(sorted(often, key=month), month):
        some = sorted(found, key=lambda one: one.at)
        yield Happened(some[-1].at, _lane(some[-1]), WORDS[kind](some))


def _weighed(some: Sequence[Husbandry]) -> str:
    grams = sorted(float(one.noted["grams"]) for one in some)
    if len(some) == 1:
        return f"Weighed {weight_in_words(grams[0])}."
    spread = weight_in_words(grams[0], grams[-1])
    return f"Weighed {len(some)} times this month, {spread}."


def _fed(some: Sequence[Husbandry]) -> str:
    taken = sum(one.noted["taken"] for one in some)
    refused = len(some) - taken
    parts = [f"{taken} taken" if taken else "", f"{refused} refused" if refused else ""]
    return f"Meals this month: {', '.join(filter(None, parts))}."


def _shed(some: Sequence[Husbandry]) -> str:
    return f"Shed: {', '.join(one.noted['stage'].replace('_', ' ') for one in some)}."


WORDS: Final = {"weight": _weighed, "meal": _fed, "shed": _shed}
