"""Along any history of calls, withdrawals, findings, sales and resales of one animal: every
fall, reversal and restoration is disclosed to everyone who relied on a verified sex, once.

What is owed is worked out here from the log alone, by design section 8 and without the code
that writes it."""

from collections.abc import Callable
from contextlib import suppress
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.core.cache import cache
from django.db import transaction
from hypothesis import HealthCheck, Phase, event, given, settings
from hypothesis import strategies as st
from tests.plugins.told_once import told_once
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import Refused
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter

STEPS = ("male", "male", "female", "female", "withdraw", "sell", "sell", "offer", "find", "close")
RELIED = ("paid", "handed_over", "closed")
Owed = tuple[str, str, str]
"""Sale, change, and the label the record had then."""


@dataclass
class Room:
    world: World
    animal: Animal
    sales: list[Any] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.guests = [self.world.greta, self.world.stan, self.world.pim]

    def do(self, step: str, number: int) -> None:
        self.world.pass_time(days=1)
        with suppress(Refused), transaction.atomic():
            if step in {"male", "female"}:
                self._call(step, number)
            else:
                getattr(self, f"_{step}")(number)

    def _call(self, sex: str, number: int) -> None:
        guest = self.guests[number % 3]
        self.world.call(guest, self.animal, sex, visit=self.world.visit(guest, self.animal))

    def _withdraw(self, number: int) -> None:
        calls = list(Call.objects.filter(animal=self.animal, withdrawal=None).order_by("position"))
        one = calls[number % len(calls)]
        by = next((who for who in self.guests if who.pk == one.by), None)
        if by:
            self.world.say(by, "call_withdrawn", self.animal.pk, {"call": str(one.pk)})

    def _sell(self, number: int) -> None:
        """To somebody new; whoever had it before has given it back."""
        for sale in self.sales[-1:]:
            with suppress(Refused), transaction.atomic():
                self.world.back(sale, self.animal)
        sale = self.world.sold(self.animal, email=f"buyer{len(self.sales)}@buyers.example")
        self.sales.append(sale)
        self.world.say(self.world.odile, "handed_over", sale.pk)

    def _offer(self, number: int) -> None:
        self.world.offer(self.world.draft(self.animal, email="other@buyers.example"))

    def _find(self, number: int) -> None:
        dispute = Dispute.objects.filter(finding=None).first()
        calls = list(Call.objects.filter(animal=self.animal).order_by("position"))
        if dispute:
            self.world.find(dispute, calls[number % len(calls)])

    def _close(self, number: int) -> None:
        if self.sales:
            self.world.say(self.world.odile, "sale_closed", self.sales[-1].pk)


def owed_by_the_log() -> list[Owed]:
    """Read entry by entry: what each buyer relied on, what they last heard, what moved."""
    states: dict[str, str] = {}
    relied: dict[str, str] = {}
    heard: dict[str, str] = {}
    found: list[Owed] = []
    for leaf in Entry.objects.order_by("position").values_list("leaf", flat=True):
        entry = read_leaf(bytes(leaf))
        about, body = str(entry.about), entry.body
        if entry.kind == "offer_made":
            states[about] = "offered"
            relied[about] = body["represents"][0]["label"]
        elif entry.kind in {"sale_confirmed", "payment_recorded", "handed_over", "sale_closed"}:
            states[about] = {"sale_confirmed": "confirmed", "payment_recorded": "paid"}.get(
                entry.kind, entry.kind.removeprefix("sale_")
            )
        elif entry.kind == "standing_changed":
            for sale, state in states.items():
                verified = relied[sale].startswith("verified ")
                if state in RELIED and verified:
                    change = _change(relied[sale], body["label"])
                    if change != heard.get(sale, "restored"):
                        heard[sale] = change
                        found.append((sale, change, body["label"]))
    return found


def _change(relied: str, label: str) -> str:
    if label == relied:
        return "restored"
    return "reversed" if label.startswith("verified ") else "fell"


@told_once
def begun(world: World) -> Room:
    """A verified male, sold."""
    room = Room(world, world.verified("X1"))
    room.do("sell", 0)
    return room


def histories(number: int) -> Callable[[Any], Any]:
    """So many, drawn anew by each run."""
    steps = st.lists(st.tuples(st.sampled_from(STEPS), st.integers(0, 8)), min_size=6, max_size=18)
    chosen = settings(
        max_examples=number,
        phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking takes minutes
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )
    return lambda test: chosen(given(steps=steps)(test))


Steps = list[tuple[str, int]]


@histories(3)
def test_every_change_is_disclosed_once_to_each_who_relied(begun: Room, steps: Steps) -> None:
    told_to_each_who_relied(begun, steps)


@pytest.mark.long(
    "sixty histories in place of three; "
    "tests/intake/test_chains.py::test_every_change_is_disclosed_once_to_each_who_relied"
)
@histories(60)
def test_nor_is_any_forgotten_in_twenty_times_as_many(begun: Room, steps: Steps) -> None:
    told_to_each_who_relied(begun, steps)


def told_to_each_who_relied(begun: Room, steps: Steps) -> None:
    cache.clear()
    with transaction.atomic():
        room = deepcopy(begun)
        for step, number in steps:
            room.do(step, number)
        entries = Entry.objects.filter(kind="disclosure_owed").order_by("position")
        facts = [read_leaf(bytes(one.leaf)).body for one in entries]
        told = [(one["sale"], one["change"], one["now"]["label"]) for one in facts]
        expected = owed_by_the_log()
        assert sorted(told) == sorted(expected)
        letters = Letter.objects.filter(kind="disclosure")
        assert letters.count() == len(told)
        assert {str(one) for one in letters.values_list("cause", flat=True)} == {
            str(one.about) for one in entries
        }
        assert all(one["was"]["label"].startswith("verified ") for one in facts)
        event(f"{min(len(told), 6)} disclosures, {len(room.sales)} sales")
        transaction.set_rollback(True)


pytestmark = pytest.mark.django_db
