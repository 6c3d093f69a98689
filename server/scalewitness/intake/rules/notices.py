"""That all of a keeper's devices are lost, where only what they sign counts: the way out."""

from typing import cast
from uuid import UUID

from scalewitness.domain.errors import BadSignature, NotAllowed, NotFound, NotNow
from scalewitness.domain.facts import SigningNoticeStopped
from scalewitness.domain.translog.own_word import NOTICE_PERIOD
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.devices import NOT_OWN, signing_device
from scalewitness.intake.submission import Sealed
from scalewitness.letters import accounts as account_letters
from scalewitness.people.models import Keeper
from scalewitness.people.queries import keeper_of
from scalewitness.people.queries.own_word import is_own, ruled
from scalewitness.people.services import keys
from scalewitness.sign_in.services.codes import check_fresh

PAGE = "/account/lost-devices"
ON_THE_PAGE = "Give notice on your account's page, with your password or second factor."
NOT_SIGNED = "A device that signs is not lost; it can lift the rule at once."


def signing_notice_given(fact: Sealed, batch: Batch) -> int:
    """The one unsigned fact that the rule lets through. A device's token is not enough for it:
    whoever found the device would have that too."""
    keeper = _self(fact, batch)
    if fact.sig is not None:
        raise BadSignature(NOT_SIGNED, pointer="/sig")
    check_fresh(keeper.pk, given=batch.actor.proved, path=PAGE)
    if batch.actor.device is not None or not batch.actor.proved:
        raise NotAllowed(ON_THE_PAGE)
    rule = ruled(keeper.pk, batch.now)
    if not rule.required:
        raise NotNow("Nothing has to be signed in your name.")
    if rule.notice is not None:
        raise NotNow("You have given notice already.")
    logged = batch.log(fact)
    keys.store_signing_notice(logged)
    account_letters.signing_notice_given(keeper, batch.now + NOTICE_PERIOD, batch.now)
    return logged.position


def signing_notice_stopped(fact: Sealed, batch: Batch) -> int:
    """By a device whose key is the keeper's own word; whoever knows no more than the password
    cannot keep the keeper locked out with a device of theirs."""
    keeper, by = _self(fact, batch), signing_device(fact, batch)
    if not is_own(by):
        raise NotAllowed(NOT_OWN)
    if ruled(keeper.pk, batch.now).notice != UUID(cast(SigningNoticeStopped, fact.body).notice):
        raise NotNow("No such notice runs.")
    logged = batch.log(fact)
    keys.store_signing_notice_stop(logged, by)
    account_letters.signing_notice_stopped(keeper, batch.now)
    return logged.position


def _self(fact: Sealed, batch: Batch) -> Keeper:
    keeper = keeper_of(batch.actor.keeper) if batch.actor.keeper else None
    if keeper is None or fact.about != keeper.pk:
        raise NotFound()
    return keeper
