"""Taking a second factor away: its keeper lost it for good, or leaves."""

from datetime import datetime

from allauth.mfa.models import Authenticator
from django.db import transaction

from scalewitness.people.models import Keeper
from scalewitness.sign_in.services.handing_over import forget_approved
from scalewitness.sign_in.services.letters import notify_of_factor


def forget_factors(keeper: Keeper) -> bool:
    """App, passkeys and recovery codes; whether there were any. And devices that the keeper let
    in and that have not come yet."""
    forget_approved(keeper)
    deleted, _ = Authenticator.objects.filter(user=keeper.pk).delete()
    return bool(deleted)


def remove_for(keeper: Keeper, now: datetime) -> bool:
    """By the operator, for a keeper who lost it for good; a letter tells the keeper. Whether
    there was one."""
    with transaction.atomic():
        had = forget_factors(keeper)
        if had:
            notify_of_factor(keeper, "removed_by_operator", now)
    return had
