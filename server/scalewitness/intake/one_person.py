"""Calls whose examiner counts as one with another: two accounts that signed with one key,
or that a finding names as one person's.

Judged as a call is accepted, and stated with it, so that replay needs nothing else. Who the others
are is in no entry: a commitment is, whose salt only the operator can make again, for this one call.
"""

from collections.abc import Iterable
from uuid import UUID

from django.utils.crypto import salted_hmac

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.translog.commitment import commit
from scalewitness.intake.known import Known


def one_with(call: UUID, animal: Animal, known: Known) -> str | None:
    """A commitment to the other accounts of whoever makes the call that checked the animal before,
    or keep it; None: there are none."""
    others = known.one_with(animal.pk)
    if not others:
        return None
    called = Call.objects.filter(animal=animal, by__in=others).values_list("by", flat=True)
    found = set(called) | ({animal.collection.keeper_id} & others)
    if not found:
        return None
    return commitment(animal.pk, call, (*found, known.person))


def commitment(animal: UUID, fact: UUID, accounts: Iterable[UUID | None]) -> str:
    """To who the accounts are, for this animal and fact alone."""
    salt = salted_hmac("scalewitness.one-person", f"{animal} {fact}", algorithm="sha256")
    return commit(" ".join(sorted(str(one) for one in accounts)), salt.digest())
