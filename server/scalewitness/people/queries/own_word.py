"""Which devices' keys are a keeper's own word, and whether nothing counts without a signature.

A key is *own* if a device whose key was own before said so by its signature: endorsed it, or made
it the one that rules. The keeper's first key is own with nothing before it. Any other was enrolled
by whoever knew the password, and tells no more than that.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared, PreparedQuery
from scalewitness.people.models import DeviceKey, KeyEndorsement, SigningRule

WAIT: Final = timedelta(days=3)
"""Before a key that no device endorsed counts, where its keeper wants that (our judgement: a
letter is read by then)."""


class Ruled(NamedTuple):
    """What a keeper ruled last."""

    required: bool = False
    wait: bool = False


def _rule(keeper: UUID) -> QuerySet[Any, Any]:
    rules = SigningRule.objects.filter(keeper=keeper).order_by("-position")
    return rules.values_list("required", "wait")[:1]


RULE = Prepared(_rule, keeper=UUID(int=1))


def rule_question(keeper: UUID | None) -> list[PreparedQuery]:
    """What :func:`ruled` will ask."""
    return [] if keeper is None else [RULE.question(keeper=keeper)]


def ruled(keeper: UUID | None) -> Ruled:
    """What the keeper ruled of signatures; of nobody, and of who ruled nothing: none is needed."""
    rows = [] if keeper is None else RULE.ask(keeper=keeper)
    return Ruled(*rows[0]) if rows else Ruled()


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
