"""What waits for a keeper: gathered from every app, in words, with the page to go to."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import stewarded_collections, title_of
from scalewitness.calls.queries.held import held_calls, lone_notes_in
from scalewitness.calls.queries.reports import last_answer, reported_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import disclosures_in, disclosures_to
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import Seat, disputes_seen
from scalewitness.domain.methods import METHODS
from scalewitness.mail.queries import letters_for
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import codes_known, progress_of, sales_seen, still_there
from scalewitness.visits.queries import held_off_on, state_of, visits_of


@dataclass(frozen=True, slots=True)
class Task:
    """One thing that waits. ``urgent``: someone may be relying on what no longer holds."""

    what: str
    about: str
    url: str
    urgent: bool = False


def attention(keeper: Keeper, now: datetime) -> list[Task]:
    """Everything that waits for this keeper, urgent tasks first."""
    found = [
        *_disputes(keeper, now),
        *_held_sales(keeper, now),
        *_disclosures(keeper, now),
        *_late_calls(keeper, now),
        *_visits(keeper, now),
        *_held_off(keeper, now),
        *_reports(keeper, now),
    ]
    return sorted(found, key=lambda one: not one.urgent)


def title_in(sale: Sale, animal: Animal) -> str:
    """What the parties to a sale know an animal by."""
    return title_of(animal, named=still_there(animal, sale), codes=codes_known(animal, sale))


def disputed(dispute: Dispute, seat: Seat) -> str:
    """What the reader of a dispute knows its animal by."""
    if seat == "seller" and dispute.sale is not None:
        return title_in(dispute.sale, dispute.animal)
    return title_of(dispute.animal)


def _disputes(keeper: Keeper, now: datetime) -> Iterable[Task]:
    for dispute, seat in disputes_seen(keeper.pk, now):
        if not hasattr(dispute, "finding"):
            url = reverse("dispute", args=[dispute.pk])
            title = disputed(dispute, seat)
            yield Task("A dispute is open", title, url, urgent=True)


def _held_sales(keeper: Keeper, now: datetime) -> Iterable[Task]:
    for sale in sales_seen(keeper.pk, now):
        if progress_of(sale).is_held:
            url = reverse("sale", args=[sale.pk])
            yield Task("A sale is held", f"to {sale.buyer.name}", url, urgent=True)


def _disclosures(keeper: Keeper, now: datetime) -> Iterable[Task]:
    owed = [one for one in disclosures_in(sales_seen(keeper.pk, now)) if is_open(one)]
    letters = letters_for({one.pk for one in owed})
    for one in owed:
        url = reverse("disclosure", args=[one.pk])
        mine = letters.get(one.pk, [])
        if any(letter.undelivered for letter in mine):
            yield Task("A disclosure could not be delivered", one.to.name, url, urgent=True)
        else:
            yield Task("A disclosure is not yet acknowledged", one.to.name, url)
    for one in disclosures_to(keeper.pk):
        if is_open(one):
            url = reverse("disclosure", args=[one.pk])
            yield Task(
                "What you were told has changed", title_in(one.sale, one.animal), url, urgent=True
            )


def is_open(disclosure: Disclosure) -> bool:
    return not hasattr(disclosure, "acknowledgement")


def _late_calls(keeper: Keeper, now: datetime) -> Iterable[Task]:
    collections = [one.pk for one in stewarded_collections(keeper.pk, now)]
    for held in held_calls(collections):
        yield Task(
            "A late call waits for your decision", title_of(held.animal), reverse("held_calls")
        )
    for held in lone_notes_in(collections, now):
        yield Task(
            "A late weight waits for your decision", title_of(held.animal), reverse("held_calls")
        )


def _reports(keeper: Keeper, now: datetime) -> Iterable[Task]:
    for call in reported_of(keeper.pk, now):
        if last_answer(call) is None:
            url = reverse("answer_report", args=[call.pk])
            yield Task("A check was reported in your name", METHODS[call.method].name, url)


def _visits(keeper: Keeper, now: datetime) -> Iterable[Task]:
    for visit in visits_of(keeper.pk):
        if visit.guest_id != keeper.pk:
            continue
        state, host = state_of(visit, now), f"{visit.host.name}’s snakes"
        if state == "invited":
            yield Task("You are invited to a check", host, reverse("visit", args=[visit.pk]))
        if state == "open":
            yield Task("Your visit is open", host, reverse("sheet", args=[visit.pk]))


def _held_off(keeper: Keeper, now: datetime) -> Iterable[Task]:
    """A guest comes and finds animals missing: are they still to be left alone?"""
    hosted = [one for one in visits_of(keeper.pk) if one.guest_id != keeper.pk]
    coming = [one for one in hosted if state_of(one, now) in {"invited", "accepted", "open"}]
    for visit, found in held_off_on(coming).items():
        if found:
            titles = ", ".join(one.title for one in found)
            url = reverse("visit", args=[visit])
            yield Task("Held off from your guest: is it still so?", titles, url)
