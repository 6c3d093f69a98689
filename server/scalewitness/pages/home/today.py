"""What waits for a keeper, for others, and what comes next: gathered from every app, in words, each
with the page to go to."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Final

from django.urls import reverse
from django.utils import timezone

from scalewitness.animals.queries import stewarded_collections, title_of
from scalewitness.breeding.queries.calendar import due, seasons_seen
from scalewitness.breeding.queries.pairings import pairings_seen
from scalewitness.calls.queries.held import held_calls, lone_notes_in
from scalewitness.calls.queries.reports import last_answer, reported_of
from scalewitness.disclosures.queries import disclosures_in, disclosures_to
from scalewitness.disputes.queries.disputes import disputes_seen
from scalewitness.domain.methods import METHODS
from scalewitness.mail.queries import letters_for
from scalewitness.mail.templatetags.words import day
from scalewitness.pages.breeding.paired import in_words
from scalewitness.pages.home.alarms import alarms
from scalewitness.pages.home.pending import GROUPS, Desk, Group, Pending, ago
from scalewitness.pages.home.selling import to_check_before_a_sale, waiting_in_sales, what_arrived
from scalewitness.pages.home.titles import disputed, is_open, title_in
from scalewitness.people.models import Keeper
from scalewitness.sales.queries import (
    names_then,
    sales_seen,
)
from scalewitness.visits.queries import (
    held_off_on,
    invitations_by_letter,
    state_of,
    visits_of,
)

NAMED: Final = 3
"""Animals named in one line before the others are counted."""
LATELY: Final = timedelta(days=7)
"""Our judgement: how long a visit that is over is still news."""


def pending(keeper: Keeper, now: datetime) -> dict[Group, list[Pending]]:
    """Everything that waits, what is urgent first in each group."""
    desk = Desk(keeper, now, list(sales_seen(keeper.pk, now)), visits_of(keeper.pk))
    found = [one for look in LOOKS for one in look(desk)]
    return {
        group: sorted((one for one in found if one.group == group), key=lambda one: not one.urgent)
        for group in GROUPS
    }


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
    """Planned on a sex that the record speaks against or does not vouch for."""
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
            elif half.animal is not None and half.doubt:
                yield Pending(
                    what=f"The {half.role} of {pair.season} is {half.label}: check it first",
                    about=half.title,
                    url=reverse("animal", args=[half.animal.pk]),
                    do="Look",
                    group="coming",
                )


def _season(desk: Desk) -> Iterable[Pending]:
    """One line for all that is due this week, and one for all that is late."""
    found = due(seasons_seen(desk.keeper.pk, desk.now), timezone.localdate(desk.now))
    for late, what in ((True, "Late by the calendar"), (False, "Due this week")):
        dams = dict.fromkeys(
            title_of(one.of.seen.dam) for one in found if one.late == late and one.of.seen.dam
        )
        if dams:
            some = list(dams)[:NAMED]
            more = f" and {len(dams) - NAMED} more" if len(dams) > NAMED else ""
            yield Pending(
                what=what,
                about=f"{', '.join(some)}{more}",
                url=reverse("calendar"),
                do="Look",
                group="needs" if late else "coming",
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
    alarms,
    _disputes,
    _disclosures,
    waiting_in_sales,
    what_arrived,
    to_check_before_a_sale,
    _late_calls,
    _pairings,
    _season,
    _reports,
    _invitations,
    _by_letter,
    _hosted,
    _held_off,
)
