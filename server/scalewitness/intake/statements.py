"""What the record states on its own account: an offer's end, a new policy."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from uuid import UUID

import msgspec
from django.db import transaction

from scalewitness.calls.models import AdoptedPolicy, Call, ExaminerRecord, StatedLinkage
from scalewitness.calls.queries.records import latest_records, records_now, still_checked_blind
from scalewitness.calls.queries.standings import yardstick
from scalewitness.calls.services import store_examiner_record, store_policy
from scalewitness.domain.errors import IdReused, OutOfRange
from scalewitness.domain.facts import ExaminerRecordChanged, OfferLapsed, PolicyAdopted
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import adopted
from scalewitness.intake.batch import Actor, Batch, fresh_id
from scalewitness.intake.consequences import settle
from scalewitness.mail.services import queueing as mail
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of
from scalewitness.sales.services import revoke_links, store_step

RECORD = Actor()
"""Nobody: what the record states has no sender."""


def lapse_offers(now: datetime) -> int:
    """End every offer that ran out unanswered; how many there were."""
    with transaction.atomic():
        batch = Batch(RECORD, now)
        lapsed = [sale for sale in _offered() if _ran_out(sale, now)]
        for sale in lapsed:
            store_step(sale, "offer_lapsed", batch.state("offer_lapsed", sale.pk, OfferLapsed()))
            revoke_links(sale, "offer", now)
        batch.flush()
    return len(lapsed)


def _offered() -> list[Sale]:
    sales = Sale.objects.filter(links__purpose="offer", links__revoked_at=None)
    found = sales.distinct().prefetch_related("steps")
    return [sale for sale in found if progress_of(sale).state == "offered"]


def _ran_out(sale: Sale, now: datetime) -> bool:
    offer = offer_in_force(sale)
    return offer is not None and parse_moment(offer.body["expires"]) <= now


def update_examiner_records(now: datetime) -> int:
    """Make up every examiner's record anew; log those that changed and reassess the animals
    they called. Returns how many changed.

    The record of an examiner waits while a guest is still to check one of their animals
    blind.
    """
    with transaction.atomic():
        batch = Batch(RECORD, now)
        rule = yardstick()
        known = latest_records()
        made = records_now(rule.policy, rule.parameters)
        changed = {who: one for who, one in made.items() if known.get(who) != one}
        changed |= _emptied(known, made)
        waiting = still_checked_blind(now)
        changed = {who: one for who, one in changed.items() if who not in waiting}
        for who, one in sorted(changed.items()):
            store_examiner_record(batch.state("examiner_record_changed", who, one))
        for animal, cause in _called_by(changed, batch):
            batch.touch(animal, cause, "examiner_record_changed")
        settle(batch)
        batch.flush()
    if batch.owes_letters:
        transaction.on_commit(mail.wake)
    return len(changed)


def _emptied(
    known: Mapping[UUID, ExaminerRecordChanged], made: Mapping[UUID, ExaminerRecordChanged]
) -> dict[UUID, ExaminerRecordChanged]:
    """Records that nothing settled speaks to any more, withdrawn calls being gone."""
    return {
        who: msgspec.structs.replace(one, counts=())
        for who, one in known.items()
        if who not in made and one.counts
    }


def _called_by(examiners: Iterable[UUID], batch: Batch) -> list[tuple[UUID, UUID]]:
    """The animals these examiners called, each with the record that touches it."""
    causes = dict(
        ExaminerRecord.objects.filter(
            examiner__in=list(examiners), position__gte=batch.began
        ).values_list("examiner", "pk")
    )
    calls = Call.objects.filter(examiner__in=causes, withdrawal=None, set_aside=None)
    pairs = calls.order_by("animal", "position").values_list("animal", "examiner").distinct()
    return [(animal, causes[examiner]) for animal, examiner in pairs]


def _with_a_standing() -> set[UUID]:
    """Animals that were called, or of whose linkage something was stated."""
    return {
        *Call.objects.values_list("animal", flat=True),
        *StatedLinkage.objects.values_list("animal", flat=True),
    }


def adopt_policy(
    version: str, parameters: str, thresholds: Mapping[str, str], now: datetime
) -> AdoptedPolicy:
    """Put a policy in force and reassess every animal under it, in one transaction: what a
    stricter rule takes away is disclosed like any other fall.

    Raises:
        IdReused: the version has been adopted before; versions never change.
        OutOfRange: no such threshold, a share outside (½, 1), or unknown parameters.
    """
    try:
        adopted(version, thresholds)
        load_parameters(parameters)
    except (ValueError, FileNotFoundError) as problem:
        raise OutOfRange(str(problem)) from None
    with transaction.atomic():
        batch = Batch(RECORD, now)
        if AdoptedPolicy.objects.filter(version=version).exists():
            raise IdReused("This version of the policy has been adopted before.")
        body = PolicyAdopted(version=version, parameters=parameters, thresholds=dict(thresholds))
        logged = batch.state("policy_adopted", fresh_id(now), body)
        policy = store_policy(logged)
        for animal in sorted(_with_a_standing()):
            batch.touch(animal, logged.id, "policy_adopted")
        settle(batch)
        batch.flush()
    if batch.owes_letters:
        transaction.on_commit(mail.wake)
    return policy
