"""What waits for a keeper, for others, and what comes next: gathered from every app, in words, each
with the page to go to."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal

from django.urls import reverse

from scalewitness.animals.queries import stewarded_collections, title_of
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.calls.queries.held import held_calls, lone_notes_in
from scalewitness.calls.queries.reports import last_answer, reported_of
from scalewitness.disclosures.queries import disclosures_in, disclosures_to
from scalewitness.disputes.queries.disputes import disputes_seen
from scalewitness.domain.methods import METHODS
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sales import ENDED
from scalewitness.mail.queries import letters_for
from scalewitness.mail.templatetags.words import day
from scalewitness.pages.breeding.paired import in_words
from scalewitness.pages.home.titles import disputed, is_open, title_in
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import (
    names_then,
    offer_in_force,
    pay_until,
    progress_of,
    sales_seen,
)
from scalewitness.visits.models import Visit
from scalewitness.visits.queries import (
    held_off_on,
    invitations_by_letter,
    state_of,
    visits_of,
)

Group = Literal["needs", "waits", "coming"]
GROUPS: Final[dict[Group, str]] = {
    "needs": "Needs you",
    "waits": "Waits for others",
    "coming": "Coming up",
}
ABOUT_TO_LAPSE: Final = timedelta(days=3)
"""Our judgement: time enough to ask the buyer."""
LATELY: Final = timedelta(days=7)
"""Our judgement: how long a visit that is over is still news."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """One thing that waits. ``what``: a verb and whom it concerns; ``about``: the animal, or whose
    it is; ``since``: in words; ``do``: what the link is for. ``urgent``: someone may be relying on
    what no longer holds."""

    what: str
    about: str
    url: str
    do: str
    since: str = ""
    group: Group = "needs"
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Desk:
    """What is read once for all of it."""

    keeper: Keeper
    now: datetime
    sales: list[Sale]
    visits: list[Visit]


def pending(keeper: Keeper, now: datetime) -> dict[Group, list[Pending]]:
    """Everything that waits, what is urgent first in each group."""
    desk = Desk(keeper, now, list(sales_seen(keeper.pk, now)), visits_of(keeper.pk))
    found = [one for look in LOOKS for one in look(desk)]
    return {
        group: sorted((one for one in found if one.group == group), key=lambda one: not one.urgent)
        for group in GROUPS
    }


def ago(then: datetime, now: datetime) -> str:
    """``today``, ``yesterday``, ``for 3 days``, ``for 5 weeks``."""
    days = (now - then).days
    if days < 2:
        return "yesterday" if days else "today"
    return f"for {days} days" if days < 21 else f"for {days // 7} weeks"


def _disputes(desk: Desk) -> Iterable[Pending]:
    own = {one.pk: one.buyer.name for one in desk.sales}
    for dispute, seat in disputes_seen(desk.keeper.pk, desk.now):
        if not hasattr(dispute, "finding"):
            # Who bought it is for the seller's side alone: guests and viewers see disputes too.
            buyer = f", sold to {own[dispute.sale_id]}" if dispute.sale_id in own else ""
            yield Pending(
                what="A dispute is open",
                about=f"{disputed(dispute, seat)}{buyer}",
                url=reverse("dispute", args=[dispute.pk]),
                do="Read",
                since=ago(dispute.opened_at, desk.now),
                urgent=True,
            )


def _sales(desk: Desk) -> Iterable[Pending]:
    for sale in desk.sales:
        progress, url = progress_of(sale), reverse("sale", args=[sale.pk])
        look = SALES.get("held" if progress.is_held else progress.state)
        if look is not None:
            yield from look(desk, sale, url)


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


def _disclosures(desk: Desk) -> Iterable[Pending]:
    owed = [one for one in disclosures_in(sales_seen(desk.keeper.pk, desk.now)) if is_open(one)]
    letters = letters_for({one.pk for one in owed})
    names = names_then((one.sale, one.animal) for one in owed)
    for one in owed:
        lost = any(letter.undelivered for letter in letters.get(one.pk, []))
        what = "A letter did not reach" if lost else "Not yet acknowledged by"
        yield Pending(
            what=f"{what} {one.to.name}",
            about=title_in(one.sale, one.animal, names),
            url=reverse("disclosure", args=[one.pk]),
            do="Look",
            since=ago(one.owed_at, desk.now),
            group="needs" if lost else "waits",
            urgent=lost,
        )
    for one in disclosures_to(desk.keeper.pk):
        if is_open(one):
            yield Pending(
                what="What you were told has changed",
                about=title_in(one.sale, one.animal),
                url=reverse("disclosure", args=[one.pk]),
                do="Read",
                since=ago(one.owed_at, desk.now),
                urgent=True,
            )


def _late_calls(desk: Desk) -> Iterable[Pending]:
    collections = [one.pk for one in stewarded_collections(desk.keeper.pk, desk.now)]
    for held in held_calls(collections):
        yield Pending(
            what="A late call waits for your decision",
            about=title_of(held.animal),
            url=reverse("held_calls"),
            do="Decide",
            since=ago(held.received_at, desk.now),
        )
    for held in lone_notes_in(collections, desk.now):
        yield Pending(
            what="A late weight waits for your decision",
            about=title_of(held.animal),
            url=reverse("held_calls"),
            do="Decide",
            since=ago(held.received_at, desk.now),
        )


def _reports(desk: Desk) -> Iterable[Pending]:
    for call in reported_of(desk.keeper.pk, desk.now):
        if last_answer(call) is None:
            yield Pending(
                what="A check was reported in your name",
                about=METHODS[call.method].name,
                url=reverse("answer_report", args=[call.pk]),
                do="Answer",
                since=ago(call.received_at, desk.now),
            )


def _pairings(desk: Desk) -> Iterable[Pending]:
    """Planned on a sex that the record no longer vouches for, or speaks against."""
    for pair in in_words(pairings_seen(desk.keeper.pk, desk.now)):
        for half in pair.halves:
            if (half.animal is not None and half.label == "contested") or half.speaks_against:
                yield Pending(
                    what=f"A pairing of {pair.season} hangs on a {half.role} that is {half.label}",
                    about=half.title,
                    url=reverse("pairings"),
                    do="Look",
                    urgent=True,
                )


def _invitations(desk: Desk) -> Iterable[Pending]:
    for visit in desk.visits:
        if visit.guest_id != desk.keeper.pk:
            continue
        state, about = state_of(visit, desk.now), f"{visit.host.name}’s snakes"
        opens, closes = f"opens {day(visit.opens)}", f"until {day(visit.closes)}"
        at, sheet = (reverse(page, args=[visit.pk]) for page in ("visit", "sheet"))
        if state == "invited":
            yield Pending(
                what="You are invited to a check", about=about, url=at, do="Answer", since=opens
            )
        if state == "open":
            yield Pending(
                what="Your visit is open", about=about, url=sheet, do="Sheet", since=closes
            )
        if state == "accepted":
            yield Pending(
                what="You check", about=about, url=at, do="Look", since=opens, group="coming"
            )


def _by_letter(desk: Desk) -> Iterable[Pending]:
    for one in invitations_by_letter(desk.keeper, desk.now):
        url, opens = reverse("by_letter", args=[one.pk]), f"opens {day(one.opens)}"
        if one.host_id != desk.keeper.pk:
            yield Pending(
                what="You are invited to a check",
                about=f"{one.host.name}’s snakes",
                url=url,
                do="Answer",
                since=opens,
            )
        elif one.declined_at:
            what = "Your invitation by letter was declined"
            yield Pending(what=what, about=one.email, url=url, do="Look", since=opens)
        else:
            yield Pending(
                what="Your invitation by letter is not answered",
                about=one.email,
                url=url,
                do="Look",
                since=opens,
                group="waits",
            )


def _hosted(desk: Desk) -> Iterable[Pending]:
    for visit in desk.visits:
        if visit.guest_id == desk.keeper.pk or visit.closes < desk.now - LATELY:
            continue
        look = HOSTED.get(state_of(visit, desk.now))
        if look is not None:
            what, group, since = look
            count = sum(not one.ended for one in visit.animals.all())
            animals = f"{count} animal{'' if count == 1 else 's'}"
            yield Pending(
                what=what.format(visit.guest.name),
                about=f"{animals}, blind" if visit.blind else animals,
                url=reverse("visit", args=[visit.pk]),
                do="Look",
                since=since.format(opens=day(visit.opens), closes=day(visit.closes)),
                group=group,
            )


HOSTED: Final[dict[str, tuple[str, Group, str]]] = {
    "invited": ("{} has not answered your invitation", "waits", "opens {opens}"),
    "declined": ("{} declined your invitation", "needs", "for {opens}"),
    "accepted": ("{} comes to check", "coming", "opens {opens}"),
    "open": ("{} is checking", "coming", "until {closes}"),
    "over": ("{}’s visit is over", "coming", "since {closes}"),
}


def _held_off(desk: Desk) -> Iterable[Pending]:
    """A guest comes and finds animals missing: are they still to be left alone?"""
    hosted = [one for one in desk.visits if one.guest_id != desk.keeper.pk]
    coming = [one for one in hosted if state_of(one, desk.now) in {"invited", "accepted", "open"}]
    for visit, found in held_off_on(coming).items():
        if found:
            yield Pending(
                what="Held off from your guest: is it still so?",
                about=", ".join(one.title for one in found),
                url=reverse("visit", args=[visit]),
                do="Look",
            )


LOOKS: Final[tuple[Callable[[Desk], Iterable[Pending]], ...]] = (
    _disputes,
    _disclosures,
    _sales,
    _late_calls,
    _pairings,
    _reports,
    _invitations,
    _by_letter,
    _hosted,
    _held_off,
)
