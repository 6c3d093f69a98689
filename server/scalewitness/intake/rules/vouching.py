"""Keepers who answer for another keeper as an examiner, or as the practice they say they are."""

from typing import cast
from uuid import UUID

from scalewitness.animals.queries.partners import share_a_collection
from scalewitness.domain.errors import NotAllowed, NotFound, NotNow
from scalewitness.domain.facts import KeeperVouched
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed
from scalewitness.people import services
from scalewitness.people.queries import has_verified_address, keeper_of, vouches_for
from scalewitness.standings.queries.footing import may_vouch


def keeper_vouched(fact: Sealed, batch: Batch) -> int:
    """A founder, or somebody with a record of their own, for a keeper they share no animals with.
    It can be ended at any time, also by somebody who may not vouch any more."""
    body, voucher = cast(KeeperVouched, fact.body), batch.actor.keeper
    if voucher is None:
        raise NotFound()
    practice = body.practice or ""
    if body.vouches:
        _check_may_vouch(voucher, fact.about, practice)
    elif not vouches_for(voucher, fact.about, practice):
        raise NotFound()
    logged = batch.log(fact)
    services.store_voucher(logged)
    return logged.position


def _check_may_vouch(voucher: UUID, about: UUID, practice: str) -> None:
    """Who may not is told so whether there is such a keeper or not."""
    if not may_vouch(voucher):
        raise NotAllowed(
            "Only founders, and keepers with a good record of their own here, vouch for others; "
            "not those who vouched for somebody who deceived."
        )
    keeper = keeper_of(about)
    if keeper is None or not has_verified_address(keeper):
        raise NotFound()
    if share_a_collection(voucher, about):
        raise NotAllowed("Nobody vouches for themselves, or for somebody they keep animals with.")
    if vouches_for(voucher, about, practice):
        raise NotNow("You vouch for them already.")
