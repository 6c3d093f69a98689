"""Of those who wait, nobody is passed over whom a change told something: by random histories, and
over an entry of every kind. And those whom most changes do not concern sleep on."""

from typing import Any
from uuid import UUID

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tests.api.feeding import pull
from tests.api.test_changes_converge import NAMES, OPERATIONS, Room, Step, in_a
from tests.everything import EARLIER, say_everything
from tests.world import START, World

from scalewitness.feed.concerned import NEAR, concerned
from scalewitness.feed.queries import Ends, log_now, next_turn
from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.signing import sign_checkpoint
from scalewitness.people.models import Keeper
from scalewitness.receipts.queries import readable

HAPPENS = [one for one in OPERATIONS if one not in {"pull", "page", "lose", "wait"}]


class Waiting(Room):
    """Everybody waits, each from where their last answer ended."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.people = {name: getattr(self.world, name) for name in NAMES}
        self.cursors = {name: pull(api)[1] for name, api in self.apis.items()}
        self.passed_over = 0

    def do(self, step: Step) -> None:
        before, then = log_now().ends, self.world.now
        turns = {name: next_turn(one.pk, then) for name, one in self.people.items()}
        super().do(step)
        near = concerned(before, log_now().ends)
        for name, api in self.apis.items():
            items, self.cursors[name] = pull(api, self.cursors[name])
            turn = turns[name]
            if turn is not None and turn <= self.world.now:
                continue  # who waits looks then by themselves
            if near is not None and self.people[name].pk not in near:
                assert items == [], (step, name)
                self.passed_over += 1


@settings(
    max_examples=6,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(HAPPENS), st.integers(0, 209)), min_size=6, max_size=14
    )
)
def test_who_is_not_called_was_told_nothing(
    db: None, monkeypatch: pytest.MonkeyPatch, steps: list[Step]
) -> None:
    with in_a(Waiting, monkeypatch) as room:
        for step in steps:
            room.do(step)


@pytest.fixture
def everything(db: None, settings: Any) -> World:
    usual, settings.LOG_RETIRED_KEYS = settings.LOG_SIGNING_KEY, [str(EARLIER.verifier)]
    settings.LOG_SIGNING_KEY = EARLIER.secret()
    sign_checkpoint(START)
    settings.LOG_SIGNING_KEY = usual
    return say_everything(World())


def test_of_every_kind_those_who_may_read_it_are_called(everything: World) -> None:
    ends, entries = log_now().ends, list(Entry.objects.order_by("position"))
    keepers = Keeper.objects.values_list("pk", flat=True)
    readers = {one: readable(one, entries, everything.now) for one in keepers}
    kinds, called = set(), 0
    for entry in entries:
        at = entry.position
        near = concerned(ends._replace(size=at), ends._replace(size=at + 1))
        if near is None:
            assert entry.kind not in NEAR
            continue
        kinds.add(entry.kind)
        called += len(near)
        assert near.issuperset(one for one, may in readers.items() if at in may), entry.kind
    assert kinds >= NEAR
    assert called < len(readers) * len(entries) / 2


def called_by(world: World, who: str) -> frozenset[UUID] | None:
    animal, before = world.animal("W-1"), log_now().ends
    world.call(getattr(world, who), animal, "male")
    return concerned(before, log_now().ends)


def test_a_call_concerns_those_near_the_animal_alone(world: World) -> None:
    world.make_partner(world.pim)
    assert called_by(world, "pim") == {world.odile.pk, world.pim.pk}


def test_a_grant_that_is_over_still_counts(world: World) -> None:
    grant = world.make_partner(world.pim)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    assert called_by(world, "odile") == {world.odile.pk, world.pim.pk}


def test_a_grant_concerns_everybody_as_its_reach_is_not_reckoned(world: World) -> None:
    before = log_now().ends
    world.make_partner(world.pim)
    assert concerned(before, log_now().ends) is None


def test_after_very_much_at_once_everybody_looks() -> None:
    before = Ends(0, 0, 0, 0, 0)
    assert concerned(before, before._replace(size=2_001)) is None
    assert concerned(before._replace(size=1), before) is None, "the log was put back"
    assert concerned(before, before._replace(fences=1)) is None
