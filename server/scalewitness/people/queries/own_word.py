"""Which devices' keys are a keeper's own word, and whether nothing counts without a signature.

A key is *own* if a device whose key was own before said so by its signature: endorsed it, or made
it the one that rules. The keeper's first key is own with nothing before it. Any other was enrolled
by whoever knew the password, and tells no more than that.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from scalewitness.domain.translog.own_word import NOTICE_PERIOD
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared, PreparedQuery
from scalewitness.people.models import DeviceKey, KeyEndorsement, SigningNotice, SigningRule

WAIT: Final = timedelta(days=3)
"""Before a key that no device endorsed counts, where its keeper wants that (our judgement: a
letter is read by then)."""


class Ruled(NamedTuple):
    """What a keeper ruled last. ``notice`` that all their devices are lost: the rule ends by it
    at ``ends``."""

    required: bool = False
    wait: bool = False
    notice: UUID | None = None
    ends: datetime | None = None


def _rule(keeper: UUID) -> QuerySet[Any, Any]:
    notices = SigningNotice.objects.filter(
        keeper=OuterRef("keeper"), position__gt=OuterRef("position"), stop=None
    ).order_by("position")[:1]
    rules = SigningRule.objects.filter(keeper=keeper).order_by("-position")
    running = (Subquery(notices.values(one)) for one in ("pk", "at"))
    return rules.values_list("required", "wait", *running)[:1]


RULE = Prepared(_rule, keeper=UUID(int=1))


def rule_question(keeper: UUID | None) -> list[PreparedQuery]:
    """What :func:`ruled` will ask."""
    return [] if keeper is None else [RULE.question(keeper=keeper)]


def ruled(keeper: UUID | None, now: datetime) -> Ruled:
    """What the keeper ruled of signatures; of nobody, and of who ruled nothing: none is needed.
    Nor once fourteen days have passed since a notice that nobody stopped."""
    rows = [] if keeper is None else RULE.ask(keeper=keeper)
    if not rows:
        return Ruled()
    required, wait, notice, at = rows[0]
    ends = at and at + NOTICE_PERIOD
    return Ruled() if ends and ends <= now else Ruled(required, wait, notice, ends)


def own_keys() -> QuerySet[DeviceKey]:
    """Keys that are their keeper's own word, ended or not."""
    earlier = DeviceKey.objects.filter(
        device__keeper=OuterRef("device__keeper"), position__lt=OuterRef("position")
    )
    endorsed = KeyEndorsement.objects.filter(key=OuterRef("pk"))
    ruling = SigningRule.objects.filter(device=OuterRef("pk"))
    return DeviceKey.objects.filter(~Exists(earlier) | Exists(endorsed) | Exists(ruling))


def is_own(device: UUID) -> bool:
    """Whether the device's key is its keeper's own word, and has not ended."""
    return own_keys().filter(pk=device, end=None).exists()


def has_own(keeper: UUID) -> bool:
    """Whether any key that is the keeper's own word has not ended."""
    return own_keys().filter(device__keeper=keeper, end=None).exists()


def by_password_only(devices: Iterable[UUID]) -> set[UUID]:
    """Of devices, those whose key nothing but the password stands for."""
    listed = list(devices)
    if not listed:
        return set()
    keys = DeviceKey.objects.filter(pk__in=listed)
    return set(keys.exclude(pk__in=own_keys().values("pk")).values_list("pk", flat=True))


def waits_until(device: UUID, now: datetime) -> datetime | None:
    """When a key that no device endorsed begins to count, where such keys wait; None: it is own.
    Of one whose enrolment the log is only taking in: from ``now`` on."""
    if own_keys().filter(pk=device).exists():
        return None
    enrolled = DeviceKey.objects.filter(pk=device).values("position")
    at = Entry.objects.filter(position__in=enrolled).values_list("received_at", flat=True).first()
    return (at or now) + WAIT
