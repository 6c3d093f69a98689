"""A check filed under the wrong animal: its examiner says whose transponder they read."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.intake.rules.refiling import bearer_of
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@dataclass
class Tubs:
    """Two of Odile's animals with transponders; Greta visits both, and is blind to them."""

    world: World
    opened: Animal
    read: Animal
    visit: UUID

    def check(self, sex: str = "male", **more: Any) -> Call:
        """Greta opens the one's tub and reads the other's transponder in it."""
        return self.made(self.world.greta, self.opened, sex, self.world.chip(self.read), **more)

    def made(self, who: Keeper, animal: Animal, sex: str, code: str, **more: Any) -> Call:
        visit = {"visit": str(self.visit)} if who == self.world.greta else {}
        body = probing(sex, code) | visit | more.pop("body", {})
        outcome = self.world.say(who, "call_made", animal.pk, body, **more)
        assert outcome.status == "accepted", outcome
        return Call.objects.get(pk=outcome.id)

    def refile(self, call: Call, onto: Animal | None = None, by: Keeper | None = None) -> Any:
        about = (onto or self.read).pk
        return self.world.say(by or self.world.greta, "call_refiled", about, {"call": str(call.pk)})

    def refused(self, call: Call, onto: Animal | None = None, by: Keeper | None = None) -> str:
        with pytest.raises(Refused) as refusal:
            self.refile(call, onto, by)
        return str(refusal.value.as_problem()["code"])


@told_once
def tubs(world: World) -> Tubs:
    opened, read = world.animal("A0"), world.animal("A1")
    world.chip(opened), world.chip(read)
    return Tubs(world, opened, read, world.visit(world.greta, opened, read))


def test_a_check_counts_for_the_animal_whose_transponder_was_read(tubs: Tubs) -> None:
    world = tubs.world
    call = tubs.check("male")
    assert (call.identity, world.label(tubs.opened)) == ("mismatch", "unsexed")
    assert bearer_of(call, world.now) == tubs.read
    refiled = tubs.refile(call)
    assert refiled.status == "accepted"
    assert (world.label(tubs.opened), world.label(tubs.read)) == ("unsexed", "probable male")
    row = Call.objects.get(pk=refiled.id)
    assert (row.identity, row.blind, row.by) == ("confirmed", True, world.greta.pk)
    assert (row.examined_at, row.body, row.animal) == (call.examined_at, call.body, tubs.read)


def test_both_are_assessed_anew_in_the_same_transaction(tubs: Tubs) -> None:
    call = tubs.check()
    refiled = tubs.refile(call)
    after = Standing.objects.filter(position__gt=refiled.position)
    assert set(after.values_list("animal", flat=True)) == {tubs.opened.pk, tubs.read.pk}
    since = Entry.objects.filter(position__gt=refiled.position).values_list("kind", flat=True)
    assert list(since) == ["standing_changed", "standing_changed"]


def test_replay_finds_no_difference(tubs: Tubs) -> None:
    tubs.refile(tubs.check())
    assert list(Replay().differences()) == []


def test_the_call_stays_where_it_was_made(tubs: Tubs) -> None:
    call = tubs.check()
    leaf = Entry.objects.get(fact=call.pk).leaf
    tubs.refile(call)
    again = Call.objects.get(pk=call.pk)
    assert (again.animal, again.conclusion, again.over) == (tubs.opened, "male", True)
    assert Entry.objects.get(fact=call.pk).leaf == leaf


def test_what_a_check_brings_down_where_it_belongs_is_disclosed(world: World) -> None:
    sold, other = world.verified("V1"), world.animal("A0")
    code = world.chip(sold)
    world.sold(sold)
    tubs = Tubs(world, other, sold, world.visit(world.greta, other, sold))
    call = tubs.made(world.greta, other, "female", code)
    assert not Disclosure.objects.exists()
    refiled = tubs.refile(call)
    assert world.label(sold) == "contested"
    owed = Entry.objects.get(kind="disclosure_owed")
    assert owed.position > refiled.position
    assert Disclosure.objects.get().cause == UUID(refiled.id)


# --- who gains by bending it ---------------------------------------------------------------


def test_only_whoever_sent_it_says_so(tubs: Tubs) -> None:
    call = tubs.check()
    for who in (tubs.world.odile, tubs.world.stan):
        assert tubs.refused(call, by=who) == "not_found"


def test_a_code_given_afterwards_moves_nothing(tubs: Tubs) -> None:
    """A seller would give the code to whichever animal an unfavourable check should be of."""
    world, elsewhere = tubs.world, tubs.world.animal("A2")
    code = "985000099999999"
    call = tubs.made(world.greta, tubs.opened, "female", code)
    body = {"scheme": "transponder", "code": code}
    world.say(world.odile, "identifier_assigned", elsewhere.pk, body)
    assert bearer_of(call, world.now) is None
    assert tubs.refused(call, elsewhere) == "not_found"


def test_a_check_by_the_animals_own_code_stays(tubs: Tubs) -> None:
    world = tubs.world
    own = tubs.made(world.greta, tubs.opened, "female", world.chip(tubs.opened))
    assert tubs.refused(own) == "not_found"


def test_a_tag_moves_nothing(tubs: Tubs) -> None:
    """It hangs on the tub, whatever is in it."""
    call = tubs.made(tubs.world.greta, tubs.opened, "female", "A1")
    assert call.identity == "mismatch"
    assert tubs.refused(call) == "not_found"


def test_a_code_that_both_bear_or_that_is_for_tests_moves_nothing(tubs: Tubs) -> None:
    world, call = tubs.world, tubs.check()
    for animal, code in ((tubs.opened, world.chip(tubs.read)), (tubs.read, "999000000000123")):
        body = {"scheme": "transponder", "code": code}
        world.say(world.odile, "identifier_assigned", animal.pk, body)
    assert tubs.refused(call) == "not_found"
    by_test_code = tubs.made(world.greta, tubs.opened, "female", "999000000000123")
    assert tubs.refused(by_test_code) == "not_found"


def test_it_is_not_said_twice_nor_of_what_is_gone(tubs: Tubs) -> None:
    world = tubs.world
    call, gone = tubs.check(), tubs.check()
    world.say(world.greta, "call_withdrawn", tubs.opened.pk, {"call": str(gone.pk)})
    assert tubs.refused(gone) == "not_now"
    tubs.refile(call)
    assert tubs.refused(call) == "not_now"
    with pytest.raises(Refused) as refusal:
        world.say(world.greta, "call_withdrawn", tubs.opened.pk, {"call": str(call.pk)})
    assert refusal.value.as_problem()["code"] == "not_now"


def test_it_is_withdrawn_where_it_counts(tubs: Tubs) -> None:
    world = tubs.world
    refiled = tubs.refile(tubs.check())
    world.say(world.greta, "call_withdrawn", tubs.read.pk, {"call": refiled.id})
    assert world.label(tubs.read) == "unsexed"
    assert list(Replay().differences()) == []


# --- blindness, and what is nobody's to learn ------------------------------------------------


def test_an_animal_out_of_sight_is_not_told_of(tubs: Tubs) -> None:
    world = tubs.world
    hers = create_collection(world.stan, new_id(world.now), "Elsewhere", world.now)
    stranger = world.animal("S1", room=hers)
    call = tubs.made(world.greta, tubs.opened, "female", world.chip(stranger))
    assert bearer_of(call, world.now) is None
    assert tubs.refused(call, stranger) == "not_found"
    with pytest.raises(Refused) as nowhere:
        world.say(world.greta, "call_refiled", new_id(world.now), {"call": str(call.pk)})
    assert nowhere.value.as_problem()["code"] == "not_found"


def test_a_viewer_of_the_animal_did_not_examine_it(tubs: Tubs) -> None:
    """Sight is not enough: it must be an animal they might have checked there and then."""
    world, other = tubs.world, tubs.world.animal("A2")
    code = world.chip(other)
    world.view(world.greta, other)
    call = tubs.made(world.greta, tubs.opened, "female", code)
    assert tubs.refused(call, other) == "not_found"


def test_it_opens_neither_animal(tubs: Tubs) -> None:
    """The other tub is still to be opened, by somebody who was told nothing of either."""
    world = tubs.world
    tubs.made(world.odile, tubs.read, "female", world.chip(tubs.read))
    tubs.refile(tubs.check())
    assert sights_of(world.greta.pk, [tubs.read.pk], world.now) == {tubs.read.pk: "blind"}
    stan = world.visit(world.stan, tubs.opened, tubs.read)
    assert stan
    sights = sights_of(world.stan.pk, [tubs.opened.pk, tubs.read.pk], world.now)
    assert set(sights.values()) == {"blind"}


def test_whoever_knew_the_other_animal_was_not_blind(tubs: Tubs) -> None:
    """Or else one would file a check elsewhere on purpose, to count as blind here."""
    world = tubs.world
    tubs.made(world.odile, tubs.read, "male", world.chip(tubs.read))
    tubs.made(world.greta, tubs.read, "male", world.chip(tubs.read))
    call = tubs.check("male")
    assert call.blind
    refiled = Call.objects.get(pk=tubs.refile(call).id)
    assert (refiled.blind, refiled.anchored_to) == (False, "male")


def test_what_they_learn_afterwards_takes_nothing_from_it(tubs: Tubs) -> None:
    world = tubs.world
    call = tubs.check("male")
    tubs.made(world.greta, tubs.read, "female", world.chip(tubs.opened))
    assert Call.objects.get(pk=tubs.refile(call).id).blind


def test_a_later_check_of_theirs_is_not_blind(tubs: Tubs) -> None:
    world = tubs.world
    tubs.refile(tubs.check("male"))
    again = tubs.made(world.greta, tubs.read, "male", world.chip(tubs.read))
    assert (again.blind, again.anchored_to) == (False, "male")


def test_whose_animal_it_is_has_an_interest_in_it(tubs: Tubs) -> None:
    call = tubs.made(tubs.world.odile, tubs.opened, "male", tubs.world.chip(tubs.read))
    refiled = Call.objects.get(pk=tubs.refile(call, by=tubs.world.odile).id)
    assert (refiled.interested, refiled.blind) == (True, False)


def test_too_late_is_too_late(tubs: Tubs) -> None:
    call = tubs.check()
    tubs.world.pass_time(days=16)
    assert bearer_of(call, tubs.world.now) == tubs.read
    tubs.world.pass_time(days=2)
    assert tubs.refused(call) == "not_found"


def test_a_code_given_to_a_thousand_animals_costs_little(
    tubs: Tubs, django_assert_max_num_queries: Any
) -> None:
    world, greedy = tubs.world, keeper("Gil Grabb")
    room = create_collection(greedy, new_id(world.now), "Many", world.now)
    code = world.chip(tubs.read)
    for n in range(40):
        animal = world.animal(f"G{n}", room=room)
        world.say(greedy, "identifier_assigned", animal.pk, {"scheme": "transponder", "code": code})
    call = tubs.check()
    with django_assert_max_num_queries(400):
        assert bearer_of(call, world.now) == tubs.read
