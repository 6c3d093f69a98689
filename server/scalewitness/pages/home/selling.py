"""What waits in a keeper's sales, for them or for the buyer, and what is to be checked before."""

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Final

from django.urls import reverse

from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sales import ENDED
from scalewitness.mail.templatetags.words import day
from scalewitness.pages.home.pending import Desk, Pending, ago
from scalewitness.pages.home.titles import title_in
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import offer_in_force, pay_until, progress_of, still_there
from scalewitness.sales.queries.arrivals import awaited_answers, last_arrivals
from scalewitness.standings.queries.logged import UNSEXED, labels_of

ABOUT_TO_LAPSE: Final = timedelta(days=3)
"""Our judgement: time enough to ask the buyer."""


def waiting_in_sales(desk: Desk) -> Iterable[Pending]:
    for sale in desk.sales:
        progress, url = progress_of(sale), reverse("sale", args=[sale.pk])
        look = SALES.get("held" if progress.is_held else progress.state)
        if look is not None:
            yield from look(desk, sale, url)


def what_arrived(desk: Desk) -> Iterable[Pending]:
    """Another snake, by a buyer's word on one's own sale; and what one bought and has not looked
    at."""
    for sale in desk.sales:
        names = {one.pk: one for one in sale.animals.all()}
        for last in last_arrivals(sale).values():
            if last.answer == "another" and last.at > desk.now - STILL_NEWS:
                yield Pending(
                    what=f"Another snake arrived, says {sale.buyer.name}",
                    about=title_in(sale, names[last.animal]),
                    url=reverse("sale", args=[sale.pk]),
                    do="Look",
                    since=ago(last.at, desk.now),
                    urgent=True,
                )
    for sale, animal in awaited_answers(desk.keeper.pk, desk.now - STILL_NEWS):
        yield Pending(
            what="Is it the same snake that you bought?",
            about=f"{title_in(sale, animal)}, from {sale.collection.keeper.name}",
            url=reverse("arrival", args=[sale.pk, animal.pk]),
            do="Compare",
        )


STILL_NEWS: Final = timedelta(days=30)
"""Our judgement: by then who can say more has said it, or opened a dispute."""


def _held(desk: Desk, sale: Sale, url: str) -> Iterable[Pending]:
    why = (
        "an animal is no longer there" if ENDED in progress_of(sale).held else "the record changed"
    )
    yield Pending(
        what=f"A sale is held: {why}",
        about=f"{_animals(sale)}, to {sale.buyer.name}",
        url=url,
        do="Offer anew",
        urgent=True,
    )


def _drafted(desk: Desk, sale: Sale, url: str) -> Iterable[Pending]:
    yield Pending(
        what=f"Make {sale.buyer.name} the offer",
        about=_animals(sale),
        url=url,
        do="Offer",
        since=ago(sale.drafted_at, desk.now),
    )


def _offered(desk: Desk, sale: Sale, url: str) -> Iterable[Pending]:
    last, offer = _last(sale), offer_in_force(sale)
    if last.kind == "check_requested":
        yield Pending(
            what=f"{sale.buyer.name} asks for another check",
            about=_animals(sale),
            url=url,
            do="Answer",
            since=ago(last.at, desk.now),
        )
        return
    expires = parse_moment(offer.body["expires"]) if offer else desk.now
    if expires <= desk.now:
        return
    soon = expires - desk.now < ABOUT_TO_LAPSE
    yield Pending(
        what=f"{sale.buyer.name} reads the offer" + (", which is about to lapse" if soon else ""),
        about=_animals(sale),
        url=url,
        do="Look",
        since=f"until {day(expires)}",
        group="needs" if soon else "waits",
    )


def _confirmed(desk: Desk, sale: Sale, url: str) -> Iterable[Pending]:
    until = pay_until(sale)
    yield Pending(
        what=f"Record {sale.buyer.name}’s payment",
        about=_animals(sale),
        url=url,
        do="Record",
        since=f"confirmed {day(_last(sale).at)}"
        + (f", to be paid by {day(until)}" if until else ""),
    )


def _paid(desk: Desk, sale: Sale, url: str) -> Iterable[Pending]:
    yield Pending(
        what=f"Hand it over to {sale.buyer.name}",
        about=_animals(sale),
        url=url,
        do="Record",
        since=ago(_last(sale).at, desk.now),
    )


SALES: Final[dict[str, Callable[[Desk, Sale, str], Iterable[Pending]]]] = {
    "held": _held,
    "draft": _drafted,
    "offered": _offered,
    "confirmed": _confirmed,
    "paid": _paid,
}


def _animals(sale: Sale) -> str:
    return ", ".join(title_in(sale, one) for one in sale.animals.all())


def _last(sale: Sale) -> SaleStep:
    return list(sale.steps.all())[-1]


def to_check_before_a_sale(desk: Desk) -> Iterable[Pending]:
    """Animals of drafts whose sex the record does not vouch for, while they are there: of one that
    has left, what the record says since is not theirs to read."""
    drafts = [one for one in desk.sales if progress_of(one).state == "draft"]
    labels = labels_of(one.pk for sale in drafts for one in sale.animals.all())
    for sale in drafts:
        for animal in sale.animals.all():
            label = labels.get(animal.pk, UNSEXED)
            if still_there(animal, sale) and verified_sex(label) is None:
                yield Pending(
                    what=f"To be sold to {sale.buyer.name}, and {label}: check it first",
                    about=title_in(sale, animal),
                    url=reverse("plan_checks", args=[animal.pk]),
                    do="Plan",
                    group="coming",
                )
