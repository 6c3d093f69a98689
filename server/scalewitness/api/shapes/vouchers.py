"""For whom a keeper answers, and whether their own word may verify a sex."""

from typing import Annotated, get_args
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.api.shapes.people import Person, named
from scalewitness.domain.facts import Footing
from scalewitness.people.queries import deceivers_among, names_of
from scalewitness.standings.queries.footing import footing_of, may_vouch, vouched_by

FootingWord = Annotated[str, words.one_of(*get_args(Footing))]
PracticeWord = Annotated[str, words.one_of("veterinarian", "laboratory")]


class VoucherShown(Struct, frozen=True):
    """``practice``: that the account is one; null: as an examiner."""

    keeper: Person
    practice: PracticeWord | None
    position: int


class Vouchers(Struct, frozen=True):
    """``footing``: why the keeper's own word may verify a sex; ``deceived``: a finding says that
    they did; ``may_vouch``: whether they may answer for others."""

    footing: FootingWord
    deceived: bool
    may_vouch: bool
    items: list[VoucherShown]


def vouchers(keeper: UUID) -> Vouchers:
    rows = vouched_by(keeper)
    names = names_of(one.keeper_id for one in rows)
    shown = [
        VoucherShown(named(one.keeper_id, names), one.practice or None, one.position)
        for one in rows
    ]
    return Vouchers(footing_of(keeper), bool(deceivers_among([keeper])), may_vouch(keeper), shown)
