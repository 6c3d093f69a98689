"""What the record states on its own account: an offer's end, a new policy."""

import re
from collections.abc import Collection, Mapping
from datetime import datetime
from uuid import UUID

import structlog
from django.db import transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery

from scalewitness.calls.models import Attestation, Call
from scalewitness.disputes.models import Finding
from scalewitness.domain.errors import IdReused, OutOfRange, Refused
from scalewitness.domain.facts import DeceitFound, FounderNamed, OfferLapsed, PolicyAdopted
from scalewitness.domain.sales import LEAVE_UNPAID
from scalewitness.domain.sexing.parameters import VERSIONS, load_parameters, released
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy, adopted
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.intake.dry_run import Foreseen, foresee
from scalewitness.intake.named_as_one import CAUSE, assess, lift_naming
from scalewitness.intake.reassessing import RECORD, in_turns, reassess_due
from scalewitness.ledger.queries.tree import tip
from scalewitness.letters.sales import notify_of_lapse
from scalewitness.people.models import Deceit, Founder
from scalewitness.people.queries import keeper_of
from scalewitness.people.services import store_deceit, store_founder
from scalewitness.people.services.keys import lift_shared_key
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import progress_of, ran_out
from scalewitness.sales.services import revoke_links, store_step
from scalewitness.standings.models import AdoptedPolicy
from scalewitness.standings.queries.due import due
from scalewitness.standings.queries.footing import FOUNDERS, founders_in_force
from scalewitness.standings.queries.settling import changed_records, may_have_moved
from scalewitness.standings.services import store_examiner_record, store_policy

log = structlog.get_logger()


def lapse_offers(now: datetime) -> int:
    """End every offer that ran out unanswered and every confirmed one that ran out unpaid; how
    many there were. Of the latter both sides are told. One that fails keeps nobody after it
    waiting; its fault is raised when the others are done."""
    lapsed, fault = set[UUID](), None

    def lapse(sale: UUID, batch: Batch) -> None:
        one = _open().filter(pk=sale).first()
        if one is not None and ran_out(one, now):
            _lapse(one, batch)
            lapsed.add(sale)

    for sale in [one.pk for one in _open() if _may_have_run_out(one, now)]:
        try:
            in_turns([sale], now, lapse)
        except Refused:  # of the log, not of a sale
            raise
        except Exception as problem:
            log.error("not_lapsed", sale=str(sale), exc_info=problem)
            lapsed.discard(sale)
            fault = problem
    if fault is not None:
        raise fault
    return len(lapsed)


def _open() -> QuerySet[Sale]:
    """Sales with an offer that may run out: after any other step, none does."""
    last = SaleStep.objects.filter(sale=OuterRef("pk")).order_by("-position").values("kind")[:1]
    sales = Sale.objects.filter(links__purpose="offer", links__revoked_at=None)
    found = sales.annotate(last=Subquery(last)).filter(last__in=LEAVE_UNPAID).distinct()
    return found.select_related("buyer", "collection__keeper").prefetch_related("steps")


def _may_have_run_out(sale: Sale, now: datetime) -> bool:
    """Also of one that cannot be read: it is asked about again by itself."""
    try:
        return ran_out(sale, now)
    except Exception:
        return True


def _lapse(sale: Sale, batch: Batch) -> None:
    unpaid = progress_of(sale).state == "confirmed"
    logged = batch.state("offer_lapsed", sale.pk, OfferLapsed())
    store_step(sale, "offer_lapsed", logged)
    revoke_links(sale, "offer", batch.now)
    if unpaid:
        notify_of_lapse(sale, logged, batch.letters)


def update_examiner_records(now: datetime) -> int:
    """Make up every examiner's record anew; log those that changed and reassess the animals
    they called. Returns how many changed.

    A record's position tells what it counts: one that something may bear on which came in
    meanwhile is made up again under the log's lock.
    """
    size = tip().size
    made, stated = changed_records(now), 0

    def state(who: UUID, batch: Batch) -> None:
        nonlocal stated
        record = made.get(who)
        if may_have_moved(who, size):
            record = changed_records(now, of=[who]).get(who)
        if record is not None:
            store_examiner_record(batch.state("examiner_record_changed", who, record))
            stated += 1

    in_turns(sorted(made), now, state)
    reassess_due(now)
    return stated


def name_founders(keepers: Collection[UUID], now: datetime) -> None:
    """The operator's: whose word counts while hardly anybody has a record here. Who is named
    already stays so.

    Raises:
        OutOfRange: more than five in all, somebody who is no keeper, or ten keepers have a record.
    """
    named = set(Founder.objects.values_list("keeper", flat=True))
    new = [one for one in keepers if one not in named]
    if len(named) + len(new) > FOUNDERS:
        raise OutOfRange(f"A record has {FOUNDERS} founders at most; {len(named)} are named.")
    if not founders_in_force():
        raise OutOfRange("So many keepers have a record of their own that no founder is needed.")
    if any(keeper_of(one) is None for one in new):
        raise OutOfRange("Only keepers can be founders.")
    with transaction.atomic():
        batch = Batch(RECORD, now)
        for one in new:
            store_founder(batch.state("founder_named", one, FounderNamed()))
        batch.flush()


def find_deceit(keeper: UUID, finding: UUID, now: datetime) -> int:
    """The operator's, after a finding of a dispute about an animal that the keeper made a call on
    or confirmed one of. Every animal that a call of theirs counts on is assessed anew; how many.
    Where that was stopped, the same again goes on, and so does the beat.

    Raises:
        OutOfRange: no such finding, it concerns no call of theirs, or another is on record.
    """
    about = Finding.objects.filter(pk=finding).values_list("dispute__animal", flat=True).first()
    own = Call.objects.filter(by=keeper)
    spoken = Attestation.objects.filter(by=keeper, call__animal=about)
    if about is None or not (own.filter(animal=about).exists() or spoken.exists()):
        raise OutOfRange("No such finding is about an animal that this keeper spoke of.")
    cause = _put_on_record(keeper, finding, now)
    count = sum(one.cause == cause for one in due())
    reassess_due(now)
    return count


def _put_on_record(keeper: UUID, finding: UUID, now: datetime) -> UUID:
    known = Deceit.objects.filter(keeper=keeper).first()
    if known is not None and known.finding != finding:
        raise OutOfRange("Another finding of their deceit is on record already.")
    if known is not None:
        return known.pk
    with transaction.atomic():
        batch = Batch(RECORD, now)
        logged = batch.state("deceit_found", keeper, DeceitFound(finding=str(finding)))
        store_deceit(logged)
        batch.flush()
    return logged.id


def part_accounts(first: UUID, second: UUID, now: datetime) -> int:
    """The operator's, after an objection: two accounts that shared a key, or that a finding named
    as one, are two people. Calls that counted as somebody else's count for themselves from here on;
    on how many animals. Where that was stopped, the same again goes on.

    Raises:
        OutOfRange: they never shared a key, and no finding named them.
    """
    shared, named = lift_shared_key(first, second, now), lift_naming(first, second, now)
    if not (shared or named):
        raise OutOfRange("These accounts never shared a key, and no finding named them.")
    counted = {pair.animal: pair for pair in named if pair.counts_from}
    one = Call.objects.filter(by__in=(first, second), parted=None)
    one = one.filter(~Q(one_with="") | Q(joined__isnull=False)).order_by("position")
    animals = sorted({*one.values_list("animal", flat=True), *counted})

    def part(animal: UUID, batch: Batch) -> None:
        parted = list(one.filter(animal=animal).values_list("pk", flat=True))
        if animal in counted:
            assess(counted[animal], batch, parted=map(str, parted))
        elif parted:
            batch.touch(animal, parted[-1], CAUSE, parted=map(str, parted))

    in_turns(animals, now, part)
    return len(animals)


def adopt_policy(
    version: str, parameters: str, thresholds: Mapping[str, str], now: datetime
) -> AdoptedPolicy:
    """Put a policy in force and reassess every animal under it: what a stricter rule takes
    away is disclosed like any other fall. The same one again goes on where that was stopped.

    Raises:
        IdReused: the version has been adopted before, otherwise or long ago, or is published as
            something else; versions never change.
        OutOfRange: no such threshold, a share outside (½, 1), unknown parameters, or a version
            that is no plain name.
    """
    policy = _put_in_force(_policy(version, parameters, thresholds), now)
    reassess_due(now)
    return policy


def foresee_policy(
    version: str, parameters: str, thresholds: Mapping[str, str], now: datetime
) -> Foreseen:
    """What :func:`adopt_policy` would do; nothing is recorded.

    Raises:
        IdReused, OutOfRange: as that would.
    """
    policy = _policy(version, parameters, thresholds)
    if AdoptedPolicy.objects.filter(version=version).exists():
        raise IdReused("This version of the policy has been adopted before.")

    def adopt(batch: Batch) -> tuple[UUID, str]:
        adoption = batch.state("policy_adopted", fresh_id(now), policy)
        store_policy(adoption)
        return adoption.id, "policy_adopted"

    return foresee(adopt, lambda animals: animals, now)


def _policy(version: str, parameters: str, thresholds: Mapping[str, str]) -> PolicyAdopted:
    try:
        rule = adopted(version, thresholds)
        load_parameters(parameters)
    except ValueError as problem:
        raise OutOfRange(str(problem)) from None
    _require_own_name(rule)
    return PolicyAdopted(version=version, parameters=parameters, thresholds=dict(thresholds))


def _require_own_name(rule: Policy) -> None:
    """A standing names its rule and its numbers, and that is all a reader has of them: a name must
    not stand for something else than what was published under it, nor look as if it did.

    Raises:
        OutOfRange, IdReused: it does.
    """
    name = rule.version
    if not _PLAIN_NAME.fullmatch(name):
        raise OutOfRange(
            "A version is named with at most 60 small letters, digits, points and hyphens."
        )
    if released(name) in VERSIONS:
        raise IdReused(f"{name} is the name of a version of the numbers, not of a policy.")
    if name == DEFAULT_POLICY.version and not rule.labels_as(DEFAULT_POLICY):
        raise IdReused(
            f"{name} is the policy that every record starts with, which has other thresholds. "
            "Adopt yours under a name of its own."
        )


_PLAIN_NAME = re.compile("[a-z0-9][a-z0-9.-]{0,59}")


def _put_in_force(body: PolicyAdopted, now: datetime) -> AdoptedPolicy:
    with transaction.atomic():
        batch = Batch(RECORD, now)
        known = AdoptedPolicy.objects.filter(version=body.version).first()
        if known is None:
            known = store_policy(batch.state("policy_adopted", fresh_id(now), body))
        elif not _is_in_force(known, body):
            raise IdReused("This version of the policy has been adopted before.")
        batch.flush()
    return known


def _is_in_force(policy: AdoptedPolicy, body: PolicyAdopted) -> bool:
    same = (policy.parameters, policy.thresholds) == (body.parameters, body.thresholds)
    return same and not AdoptedPolicy.objects.filter(position__gt=policy.position).exists()
