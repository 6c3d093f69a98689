"""Reassess what a batch touched and write all that follows, in the same transaction."""

from collections.abc import Sequence
from functools import cached_property
from itertools import groupby
from typing import Any, cast
from uuid import UUID

import msgspec
from django.db.models import prefetch_related_objects

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.pairings import planned_with, was_verified
from scalewitness.calls.models import Call, Joined, Parted, WaitEnded
from scalewitness.calls.services import row_of_standing
from scalewitness.disclosures.queries import last_disclosed
from scalewitness.disputes.queries.disputes import open_dispute_on
from scalewitness.disputes.services import store_dispute
from scalewitness.domain.consequences import (
    AskForRecheck,
    Consequence,
    Disclose,
    Hold,
    NotifyKeepers,
    OpenDispute,
    PairingView,
    Reliance,
    Replan,
    SaleView,
    consequences,
    may_affect_pairings,
    verified_sex,
)
from scalewitness.domain.facts import (
    DisclosureOwed,
    DisputeOpened,
    OfferMade,
    Representation,
    SaleHeld,
    StandingChanged,
)
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import share
from scalewitness.domain.sexing.kept import Before, NextStanding
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.affected_plans import state_affected_plans
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.claims import settle_claims
from scalewitness.intake.disclosing import owe_disclosure
from scalewitness.intake.known import Subject
from scalewitness.letters.animals import (
    Concerned,
    ask_for_recheck,
    concerned,
    notify_of_standing,
)
from scalewitness.letters.disclosures import Owed, send_disclosures
from scalewitness.letters.disputes import has_seat, notify_of_dispute
from scalewitness.letters.new_rule import owing_for
from scalewitness.letters.pairings import notify_of_pairings
from scalewitness.letters.sales import notify_of_hold
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of, sales_of_animal
from scalewitness.sales.services import store_links, store_step
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.due import latest_adoption
from scalewitness.standings.queries.evidence import evidence_of, waiting_calls
from scalewitness.standings.queries.logged import last_verified, outdated
from scalewitness.standings.services import standing_row


def settle(batch: Batch) -> None:
    """Reassess every touched animal and write what follows: in the order touched, since what is
    counted with a record is first admitted on its own."""
    while batch.touched:
        animal = next(iter(batch.touched))
        touched = batch.touched.pop(animal)
        subject = _read(animal, batch)
        if subject is None:
            raise ValueError(f"there is no animal {animal}")
        _reassess(subject, touched, batch)
        batch.restated[animal] = touched
    settle_claims(batch)


def _read(animal: UUID, batch: Batch) -> Subject | None:
    """As it is now, also where other records bear on it."""
    subject = batch.known.of(animal)
    if subject is None or not (subject.others or subject.bearing.rivals):
        return subject
    batch.store()
    return batch.known.afresh(animal)


def _calls_elsewhere(subject: Subject) -> int:
    """How many of the calls that count are on other records of the snake."""
    if not subject.others:
        return 0
    calls = Call.objects.filter(pk__in=[one.call for one in subject.counting])
    return calls.exclude(animal=subject.animal.pk).count()


def _touch_others(subject: Subject, counted: Sequence[str], touched: Touched, batch: Batch) -> None:
    """Other records of the snake, where calls that waited count now; and whoever else bears its
    number, where that is theirs no more, or is theirs now."""
    for one in sorted(subject.others) if counted else ():
        batch.touched.setdefault(one, Touched(touched.cause, touched.kind))
    for one in sorted(outdated(subject.bearing.rivals)):
        batch.touched.setdefault(one, Touched(touched.cause, "number_judged"))


def _reassess(subject: Subject, touched: Touched, batch: Batch) -> None:
    before, by = subject.label, subject.by
    subject.tell_apart(joined=touched.joined, parted=touched.parted)
    counted, settled = _settled(subject, touched)
    found = settled.standing
    body = StandingChanged(
        label=found.label,
        p_male=share(found.p_male),
        p_male_pessimistic=share(found.p_male_pessimistic),
        parameters=by.parameters,
        policy=by.policy.version,
        examiner_records=by.records.version,
        admitted=tuple(touched.admitted),
        reports=tuple(touched.reports),
        verified_with=settled.verified_with or None,
        counted=tuple(counted),
        known_elsewhere=subject.bearing.elsewhere,
        calls_elsewhere=_calls_elsewhere(subject),
        parted=tuple(touched.parted),
        joined=tuple(touched.joined),
    )
    logged = batch.state("standing_changed", subject.animal.pk, body)
    batch.keep(Standing, standing_row(logged))
    for call in counted:
        batch.keep(WaitEnded, row_of_standing(UUID(call), logged.position))
    for call in touched.parted:
        batch.keep(Parted, row_of_standing(UUID(call), logged.position))
    for call in touched.joined:
        batch.keep(Joined, row_of_standing(UUID(call), logged.position))
    if subject.others or subject.bearing.rivals:
        batch.store()
        _touch_others(subject, counted, touched, batch)
    subject.before = Before(body.label, body.p_male, body.parameters, body.verified_with or "")
    subject.stood = verified_sex(before) or subject.stood
    now = Representation(
        animal=str(subject.animal.pk),
        label=body.label,
        p_male=body.p_male,
        p_male_pessimistic=body.p_male_pessimistic,
        position=logged.position,
    )
    if settled.by_numbers and touched.kind != "numbers_adopted":
        touched = _of_the_numbers(touched)
    _follow(subject, before, logged.id, now, touched, batch)


def _settled(subject: Subject, touched: Touched) -> tuple[list[str], NextStanding]:
    """What follows, and which calls of newcomers that waited it counts: those that were answered,
    or all once the sex that they contradict is verified no more."""
    held, settled = verified_sex(subject.label), subject.standing()
    falls = held is not None and verified_sex(settled.standing.label) != held
    if not (touched.answered or falls):
        return [], settled
    waited = waiting_calls(subject.animal.pk)
    if not waited:
        return [], settled
    subject.count(map(evidence_of, waited))
    subject.tell_apart(joined=touched.joined, parted=touched.parted)
    return [str(one.pk) for one in waited], subject.standing()


def _of_the_numbers(touched: Touched) -> Touched:
    """What came in made the sex no less likely: newer numbers alone took it away, which happens to
    be seen only now. Whoever is told of it is told so."""
    adoption = latest_adoption()
    return Touched(adoption.fact, adoption.kind) if adoption else touched


def _follow(
    subject: Subject,
    before: str,
    standing: UUID,
    now: Representation,
    touched: Touched,
    batch: Batch,
) -> None:
    animal = subject.animal
    if subject.in_sales and before != now.label:
        batch.store()  # ahead of its turn it is not: what follows is read once, in its turn
    found = sales_of_animal(animal.pk) if subject.in_sales else []
    sales = {str(sale.pk): sale for sale in found}
    disclosed = last_disclosed([sale.pk for sale in found], animal.pk) if found else {}
    views = [
        view for sale in found if (view := _view(sale, animal.pk, disclosed[sale.pk])) is not None
    ]
    represented = {view.sale: view.represented for view in views}
    dispute = bool(views) and open_dispute_on(animal.pk) is not None
    planned = _planned(animal.pk, before, now.label, batch)
    pairings = [_pairing_view(one, animal.pk, now.position) for one in planned]
    stood = _stood(subject, before, now)
    waits = any(known.waits for known in touched.admitted)
    follows = consequences(
        before,
        now.label,
        views,
        pairings,
        dispute_open=dispute,
        stood=stood,
        contrary_waits=waits and verified_sex(now.label) is not None,
    )
    if not follows:  # as of nearly every call
        return
    batch.store()
    prefetch_related_objects([animal], "identifiers", "custody")
    writer = _Consequences(
        animal, sales, planned, represented, before, standing, now, touched, batch
    )
    writer.expect(follows)
    for kind, alike in groupby(follows, type):
        if kind is Disclose:  # hundreds, where one animal was sold on and on
            writer.disclose(cast(list[Disclose], list(alike)))
        else:
            for consequence in alike:
                writer.write(consequence)


def _view(sale: Sale, animal: UUID, disclosed: Reliance) -> SaleView | None:
    """The sale as consequences see it; None before its first offer."""
    offer = offer_in_force(sale)
    if offer is None:
        return None
    offered = msgspec.convert(offer.body, OfferMade)
    progress = progress_of(sale)
    return SaleView(
        sale=str(sale.pk),
        buyer=str(sale.buyer_id),
        state=progress.state,
        held=bool(progress.held),
        represented=next(one for one in offered.represents if one.animal == str(animal)),
        disclosed=disclosed,
    )


def _stood(subject: Subject, before: str, now: Representation) -> Sex | None:
    """The sex verified last, asked for where one is verified that was not."""
    if verified_sex(before) is not None or verified_sex(now.label) is None:
        return subject.stood
    return subject.stood or last_verified(subject.animal.pk, now.position)


def _planned(animal: UUID, before: str, now: str, batch: Batch) -> list[Pairing]:
    """Planned pairings that the change could bear on."""
    found = planned_with(animal) if may_affect_pairings(before, now) else []
    if found:
        batch.store()  # what they stood on is asked of the standings, this batch's too
    return found


def _pairing_view(pairing: Pairing, animal: UUID, position: int) -> PairingView:
    """As it was until the standing at ``position``."""
    sex: Sex = "male" if pairing.sire_id == animal else "female"
    was = was_verified(animal, sex, since=pairing.position, before=position)
    return PairingView(str(pairing.pk), sex, was)


class _Consequences:
    """Writes each consequence as its fact, its rows and its letters."""

    def __init__(
        self,
        animal: Animal,
        sales: dict[str, Sale],
        planned: list[Pairing],
        represented: dict[str, Representation],
        before: str,
        standing: UUID,
        now: Representation,
        touched: Touched,
        batch: Batch,
    ) -> None:
        self.animal, self.sales, self.represented = animal, sales, represented
        self.pairings = {str(one.pk): one for one in planned}
        self.before, self.now, self.batch = before, now, batch
        self.standing = standing
        self.cause, self.cause_kind = touched.cause, touched.kind
        self.letters = batch.letters
        self.dispute: UUID | None = None
        self.disputed: Sale | None = None
        self.informed: set[UUID] = set()
        """Keepers who are owed a disclosure as buyers, which tells them the rest too."""
        if batch.actor.by is None:  # the record looks at every animal; what is sent is told at once
            self.letters = owing_for(touched.cause, touched.kind, batch.letters)

    def expect(self, follows: Sequence[Consequence]) -> None:
        """A dispute that opens has its id ahead: disclosures owed with it lead there."""
        for one in follows:
            if isinstance(one, OpenDispute):
                self.dispute = fresh_id(self.batch.now)
                self.disputed = self.sales.get(one.sale or "")

    @cached_property
    def concerned(self) -> dict[UUID, Concerned]:
        """By keeper."""
        found = concerned(self.animal, self.letters, self.sales.values())
        return {one.keeper.pk: one for one in found}

    @property
    def _others(self) -> list[Concerned]:
        return [one for keeper, one in self.concerned.items() if keeper not in self.informed]

    def write(self, consequence: Consequence) -> None:
        match consequence:
            case Hold():
                self._hold(consequence)
            case OpenDispute():
                self._dispute(consequence)
            case NotifyKeepers():
                moved = {"change": consequence.change} | self._moved
                notify_of_standing(self._others, self.animal, self.standing, moved, self.letters)
            case Replan():
                self._replan(consequence)
            case AskForRecheck():
                ask_for_recheck(self.animal, self.cause, self.now.label, self.letters)

    def _replan(self, replan: Replan) -> None:
        affected = [(self.pairings[one.pairing], one) for one in replan.pairings]
        changes = [(pairing, one.change) for pairing, one in affected]
        state_affected_plans(self.animal.pk, self.cause, changes, self.batch)
        notify_of_pairings(self.animal, self.standing, affected, self._moved, self.letters)

    @property
    def _moved(self) -> dict[str, Any]:
        return {"was": self.before, "now": self.now.label, "position": self.now.position}

    def _hold(self, hold: Hold) -> None:
        sale = self.sales[hold.sale]
        body = SaleHeld(reason=hold.reason, animal=str(self.animal.pk), cause=str(self.cause))
        logged = self.batch.state("sale_held", sale.pk, body)
        store_step(sale, "sale_held", logged)
        notify_of_hold(sale, logged.id, self.represented[hold.sale], self.now, self.letters)

    def disclose(self, consequences: Sequence[Disclose]) -> None:
        owed = [self._owed(one) for one in consequences]
        store_links(one.link for one in owed)
        send_disclosures(owed, self.cause_kind, self.letters)
        self.batch.store()

    def _owed(self, owed: Disclose) -> Owed:
        sale = self.sales[owed.sale]
        body = DisclosureOwed(
            sale=owed.sale,
            animal=str(self.animal.pk),
            to=owed.buyer,
            cause=str(self.cause),
            change=owed.change,
            was=owed.was,
            now=self.now,
        )
        made = owe_disclosure(body, sale, self.animal, self.batch)
        reader = self._also_concerned(sale)
        dispute = self.dispute if reader and has_seat(reader, self.disputed) else None
        return made._replace(reader=reader, dispute=dispute)

    def _also_concerned(self, sale: Sale) -> Concerned | None:
        """The buyer of that sale, where they keep the animal now or sold it on."""
        buyer = sale.buyer.keeper_id
        found = self.concerned.get(buyer) if buyer else None
        if found is not None:
            self.informed.add(found.keeper.pk)
        return found

    def _dispute(self, opened: OpenDispute) -> None:
        body = DisputeOpened(
            animal=str(self.animal.pk),
            ground="contested_standing",
            cause=str(self.cause),
            sale=opened.sale,
        )
        logged = self.batch.state("dispute_opened", self.dispute or fresh_id(self.batch.now), body)
        notify_of_dispute(store_dispute(logged), self._others, self.letters)
