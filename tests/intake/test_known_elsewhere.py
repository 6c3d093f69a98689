"""One snake on two records: a transponder that another animal bore first."""

from dataclasses import dataclass

import pytest
from django.db import connection
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.services import create_collection
from scalewitness.calls.queries.bearing import Bearing
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.fsck.reading import facts_in
from scalewitness.fsck.rows import check_rows
from scalewitness.intake import known
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.pieces import Piece, write_together
from scalewitness.intake.reassessing import reassess_due
from scalewitness.intake.statements import adopt_policy
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.planning.supposing import SupposedAnswer, suppose
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.logged import latest_standing, standings_of
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
NUMBER = "985 000 012 345 678"
READ = "985000012345678"
KNOWN = ("known_elsewhere",)


@dataclass
class Two:
    """Odile's animal bears the number; Stan keeps a record of his own, which does not yet."""

    world: World
    stans: World
    older: Animal
    newer: Animal

    def give(self, code: str = NUMBER, to: Animal | None = None) -> Outcome:
        animal = to or self.newer
        body = {"scheme": "transponder", "code": code}
        return self.world.say(animal.collection.keeper, "identifier_assigned", animal.pk, body)

    def withdraw(self, animal: Animal, code: str = NUMBER) -> Outcome:
        body = {"scheme": "transponder", "code": code}
        return self.world.say(animal.collection.keeper, "identifier_withdrawn", animal.pk, body)

    def refused(self, animal: Animal) -> str:
        with pytest.raises(Refused) as refusal:
            self.withdraw(animal)
        return str(refusal.value.as_problem()["code"])

    def agree(self) -> None:
        """Stan and two blind guests of his come to one answer."""
        self.stans.call(self.world.stan, self.newer, "female")
        for guest in (keeper("Ada Fenn"), self.stans.fenna):
            self.stans.pass_time(days=1)
            visit = self.stans.visit(guest, self.newer)
            self.stans.call(guest, self.newer, "female", visit=visit)

    def contradict(self) -> None:
        """Odile and a guest of hers say that it is a male."""
        self.world.call(self.world.odile, self.older, "male")
        visit = self.world.visit(self.world.greta, self.older)
        self.world.call(self.world.greta, self.older, "male", visit=visit)


@told_once
def two(world: World) -> Two:
    others = {"pim": world.pim, "greta": world.greta, "stan": world.odile}
    stans = World(odile=world.stan, house="Next Door", **others)
    found = Two(world, stans, world.animal("A1"), stans.animal("S1"))
    found.give(to=found.older)
    return found


def reasons(animal: Animal) -> tuple[str, ...]:
    return dossier(animal).assessment.reasons


def letters() -> list[tuple[str, str]]:
    """To whom, and which of the two records is theirs."""
    found = Letter.objects.filter(kind="number_known").order_by("pk")
    return sorted((one.to.partition(".")[0], one.context["which"]) for one in found)


def holds() -> bool:
    """Whether the log bears out every standing and every row."""
    stated = facts_in(list(Entry.objects.order_by("position")))
    return list(check_rows(stated, 0, len(stated))) == [] and list(Replay().differences()) == []


def test_the_same_snake_registered_anew_is_never_verified(two: Two) -> None:
    two.contradict()
    assert two.give().flags == KNOWN
    two.agree()
    assert two.stans.label(two.newer) == "probable female"
    assert reasons(two.newer)[0] == "known_elsewhere"
    said = " ".join(one.text for one in dossier(two.newer).lines)
    assert "This number is known elsewhere" in said
    assert dossier(two.newer).sensitivity.labels == ("probable female",), "by no numbers either"
    assert holds()


def test_a_verified_sex_falls_with_the_number_and_buyers_are_told(two: Two) -> None:
    animal = two.stans.verified("S2", "female")
    two.stans.sold(animal)
    assert two.give(to=animal).flags == KNOWN
    assert two.stans.label(animal) == "probable female"
    assert Disclosure.objects.get().animal == animal
    assert holds()


def test_nothing_of_the_older_record_changes(two: Two) -> None:
    older = two.world.verified("A2")
    two.give("985000099999999", to=older)
    before = latest_standing(older.pk)
    two.give("985000099999999")
    assert latest_standing(older.pk) == before
    assert "known_elsewhere" not in reasons(older)
    two.world.call(two.world.odile, older, "male")
    assert two.world.label(older) == "verified male", "also with the next check"
    assert holds()


def test_keepers_of_both_are_told_once_and_not_who_the_other_is(two: Two) -> None:
    two.give()
    assert letters() == [("odile", "older"), ("stan", "newer")]
    for one in Letter.objects.filter(kind="number_known"):
        mine, other = (two.older, two.newer) if "odile" in one.to else (two.newer, two.older)
        assert one.context["animal"]["id"] == str(mine.pk)
        assert str(other.pk) not in str(one.context)
        assert ("Stan" in str(one.context)) == ("stan" in one.to)


def test_one_letter_a_pair_ever_and_one_a_sender_to_the_older(two: Two) -> None:
    two.give()
    two.give()
    two.withdraw(two.newer)
    two.give()
    assert len(letters()) == 2
    for n in range(5):
        two.give(to=two.stans.animal(f"S{n + 5}"))
    told = letters()
    assert told.count(("odile", "older")) == 1, "no storm, however many he gives it to"
    assert told.count(("stan", "newer")) == 6


@pytest.mark.parametrize("typed", ["985000012345678", "985-0000-1234-5678", " 985.000012345678 "])
def test_however_the_number_is_typed(two: Two, typed: str) -> None:
    assert two.give(typed).flags == KNOWN


def test_a_number_of_a_country_of_tests_is_nobodys_own(two: Two) -> None:
    two.give("999000000000001", to=two.older)
    assert two.give("999000000000001").flags == ()
    assert letters() == []
    assert not two.newer.standings.exists()


def test_a_tag_is_no_transponder(two: Two) -> None:
    tag = {"scheme": "tag", "code": "A1"}
    assert two.world.say(two.world.stan, "identifier_assigned", two.newer.pk, tag).flags == ()


def test_ones_own_number_typed_twice_is_told_at_once_and_once(two: Two) -> None:
    twin = two.world.animal("A3")
    assert two.give(to=twin).flags == KNOWN
    assert letters() == [("odile", "both")]
    assert two.give(to=two.older).flags == (), "the same on the same is nothing new"
    assert latest_standing(two.older.pk) is None


def test_the_cap_ends_when_either_bears_the_number_no_more(two: Two) -> None:
    two.give()
    two.agree()
    assert two.stans.label(two.newer) == "probable female"
    two.withdraw(two.older)
    assert two.stans.label(two.newer) == "verified female"
    assert "known_elsewhere" not in reasons(two.newer)
    assert not Identifier.objects.filter(animal=two.older, scheme="transponder").exists()
    two.give(to=two.older)
    assert two.world.label(two.older) == "unsexed"
    assert reasons(two.older)[0] == "known_elsewhere", "now the other has borne it for longer"
    assert holds()


def test_withdrawn_by_the_newer_it_is_a_record_like_any(two: Two) -> None:
    two.give()
    two.withdraw(two.newer)
    two.agree()
    assert two.stans.label(two.newer) == "verified female"
    flags = [one.known_elsewhere for one in standings_of(two.newer.pk)]
    assert flags[:2] == [True, False]
    assert holds()


def test_a_contested_animals_number_is_not_taken_off_it(two: Two) -> None:
    """Else its keeper would register it anew, and say that the number had been a mistake."""
    two.contradict()
    assert two.refused(two.older) == "not_now"


def test_ones_own_check_that_read_it_keeps_it_too(two: Two) -> None:
    code = two.world.chip(two.older)
    made = two.world.say(two.world.odile, "call_made", two.older.pk, probing("male", code))
    assert two.refused(two.older) == "not_now"
    two.world.say(two.world.odile, "call_withdrawn", two.older.pk, {"call": made.id})
    assert two.withdraw(two.older).status == "accepted"


def typed_first(two: Two) -> None:
    """Whoever wants to harm Stan gives his snake's number to a record of no snake, before him."""
    two.withdraw(two.older)
    two.give(to=two.older)
    two.give()
    assert latest_standing(two.newer.pk).known_elsewhere  # type: ignore[union-attr]


def read(two: Two, who: Keeper, **more: object) -> Outcome:
    """A guest of Stan's reads the number at a check, blind."""
    two.stans.pass_time(days=1)
    visit = two.stans.visit(who, two.newer)
    body = probing("female", READ) | more
    return two.stans.call(who, two.newer, "female", visit=visit, body=body)


def test_who_types_a_number_before_its_owner_caps_nobody_whose_snake_bears_it(two: Two) -> None:
    """Ada's word has no footing, so what she reads frees nobody; Fenna's has."""
    typed_first(two)
    two.stans.call(two.world.stan, two.newer, "female")
    read(two, keeper("Ada Fenn"))
    assert two.stans.label(two.newer) == "probable female"
    assert reasons(two.newer)[0] == "known_elsewhere"
    read(two, two.stans.fenna)
    assert two.stans.label(two.newer) == "verified female"
    older = latest_standing(two.older.pk)
    assert older is not None
    assert (older.label, older.known_elsewhere) == ("unsexed", True), "the cap is theirs now"
    assert holds()


def test_ones_own_reading_frees_nobody(two: Two) -> None:
    typed_first(two)
    two.stans.call(two.world.stan, two.newer, "female", body=probing("female", READ))
    assert latest_standing(two.newer.pk).known_elsewhere  # type: ignore[union-attr]
    assert latest_standing(two.older.pk) is None
    assert holds()


def test_a_record_that_others_checked_before_keeps_its_number(two: Two) -> None:
    """A contested snake registered anew is not freed by somebody who reads it there."""
    two.contradict()
    two.give()
    two.agree()
    read(two, two.stans.fenna)
    assert two.stans.label(two.newer) == "probable female"
    assert not latest_standing(two.older.pk).known_elsewhere  # type: ignore[union-attr]
    assert holds()


def test_a_check_made_after_the_other_read_it_takes_the_number_back_for_nobody(two: Two) -> None:
    """Else whoever typed it first has some snake checked, and the honest record falls."""
    typed_first(two)
    two.stans.call(two.world.stan, two.newer, "female")
    read(two, keeper("Ada Fenn"))
    read(two, two.stans.fenna)
    two.world.now = two.stans.now
    visit = two.world.visit(two.world.greta, two.older)
    two.world.call(two.world.greta, two.older, "male", visit=visit, body=probing("male", READ))
    assert two.stans.label(two.newer) == "verified female"
    assert two.world.label(two.older) == "probable male"
    assert holds()


def test_the_number_goes_back_with_the_check_that_read_it(two: Two) -> None:
    typed_first(two)
    two.stans.call(two.world.stan, two.newer, "female")
    read(two, keeper("Ada Fenn"))
    made = read(two, two.stans.fenna)
    two.stans.say(two.stans.fenna, "call_withdrawn", two.newer.pk, {"call": made.id})
    flags = [latest_standing(one.pk).known_elsewhere for one in (two.older, two.newer)]  # type: ignore[union-attr]
    assert flags == [False, True]
    assert holds()


def test_of_calls_in_one_push_each_is_judged_after_the_one_before(two: Two) -> None:
    """What is read on the one bears on the other only once it was taken."""
    typed_first(two)
    odile, visit = two.world.odile, two.stans.visit(two.world.odile, two.newer)
    body = probing("female", READ) | {"visit": str(visit)}
    items = [
        two.world.item("call_made", two.older.pk, probing("male", READ)),
        two.stans.item("call_made", two.newer.pk, body),
    ]
    pushed = two.stans.push(odile, *items)
    assert [one.problem for one in pushed] == [None, None]
    flags = [latest_standing(one.pk).known_elsewhere for one in (two.older, two.newer)]  # type: ignore[union-attr]
    assert flags == [True, False]
    assert holds()


def test_a_number_that_others_did_not_read_but_another_is_a_mistake(two: Two) -> None:
    """It was mistyped, the right one was given, and a guest read that."""
    two.give("985000000000042", to=two.older)
    body = probing("male", "985000000000042")
    body["visit"] = str(two.world.visit(two.world.greta, two.older))
    two.world.say(two.world.greta, "call_made", two.older.pk, body)
    assert two.withdraw(two.older).status == "accepted"


def test_a_number_that_a_buyer_relies_on_stays(two: Two) -> None:
    two.world.sold(two.older)
    assert two.refused(two.older) == "not_now"


def test_nobody_else_withdraws_it(two: Two) -> None:
    body = {"scheme": "transponder", "code": NUMBER}
    for who, about in ((two.world.stan, two.older), (two.world.greta, two.older)):
        with pytest.raises(Refused) as refusal:
            two.world.say(who, "identifier_withdrawn", about.pk, body)
        assert refusal.value.as_problem()["code"] == "not_found"


def test_of_three_the_first_left_is_the_older(two: Two) -> None:
    third = two.world.animal("A4")
    two.give()
    two.give(to=third)
    two.withdraw(two.older)
    flags = [latest_standing(one.pk).known_elsewhere for one in (two.newer, third)]  # type: ignore[union-attr]
    assert flags == [False, True]
    assert holds()


def test_in_one_push_the_first_is_the_older_and_each_line_is_told(world: World) -> None:
    items = []
    for n in range(60):
        about, number = new_id(world.now), 985000000001000 + n % 57
        body = {"collection": str(world.collection.pk), "species": "python_regius"}
        items.append(world.item("animal_registered", about, body))
        chip = {"scheme": "transponder", "code": str(number)}
        items.append(world.item("identifier_assigned", about, chip))
    outcomes = world.push(world.odile, *items)
    assert {one.status for one in outcomes} == {"accepted"}
    assert [n for n, one in enumerate(outcomes) if one.flags] == [115, 117, 119]
    assert Animal.objects.count() == 60
    assert letters() == [("odile", "both")] * 3
    assert holds()


def test_a_move_of_the_older_keeps_the_order(two: Two) -> None:
    two.give()
    room = create_collection(two.world.odile, new_id(two.world.now), "The loft", two.world.now)
    move = {"to": str(room.pk), "why": "moved"}
    two.world.say(two.world.odile, "custody_changed", two.older.pk, move)
    two.agree()
    assert two.stans.label(two.newer) == "probable female"


def test_what_if_says_so_too(two: Two) -> None:
    two.give()
    two.agree()
    answer = SupposedAnswer("probing", "female")
    found = suppose(two.newer, answer, two.world.stan.pk, two.stans.now)
    assert found.after.label == "probable female"


def test_replay_finds_a_standing_that_hides_it(two: Two) -> None:
    two.give()
    two.agree()
    last = latest_standing(two.newer.pk)
    assert last is not None
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE calls_standing DISABLE TRIGGER refuse_change")
        cursor.execute("UPDATE calls_standing SET known_elsewhere = false WHERE id = %s", [last.pk])
    found = list(Replay().differences())
    assert [one.animal for one in found] == [two.newer.pk]


def told_of(who: Keeper) -> list[str]:
    return list(Letter.objects.filter(recipient=who.pk).values_list("kind", flat=True))


def test_a_number_that_moves_is_told_to_everyone_concerned(two: Two) -> None:
    """To the keeper of the other record, and to whoever sold that snake; not to who moved it."""
    two.stans.sold(two.newer)
    two.give()
    two.withdraw(two.older)
    told = Letter.objects.filter(kind="number_moved").order_by("pk")
    assert [(one.recipient, one.context["how"]) for one in told] == [
        (two.world.stan.pk, "withdrawn")
    ]
    two.give("985000000000066", to=two.older)
    two.withdraw(two.older, "985000000000066")
    two.give("985000000000066")
    last = Letter.objects.get(kind="number_moved", context__how="given")
    assert (last.recipient, last.context["animal"]["id"]) == (two.world.odile.pk, str(two.older.pk))
    two.give("985000000000066", to=two.older)
    assert Letter.objects.filter(kind="number_moved").count() == 2, "now it is known elsewhere"
    assert holds()


def test_ones_own_numbers_put_right_are_no_news(two: Two) -> None:
    twin = two.world.animal("A3")
    two.withdraw(two.older)
    assert two.give(to=twin).flags == ()
    assert not Letter.objects.filter(kind="number_moved").exists()


def test_a_guest_blind_to_either_is_told_nothing(two: Two) -> None:
    two.world.visit(two.world.greta, two.older)
    two.stans.visit(two.world.greta, two.newer)
    before = told_of(two.world.greta)
    two.give()
    assert told_of(two.world.greta) == before


def test_a_keeper_blind_to_the_older_is_told_the_same_whatever_is_known_of_it(two: Two) -> None:
    """Of Stan's two numbers one is of an animal that nobody checked, one of a contested one."""
    rich, bare = two.older, two.world.animal("A5")
    two.give("985000000000077", to=bare)
    two.contradict()
    two.world.visit(two.world.stan, rich, bare)
    said = []
    for code in (NUMBER, "985000000000077"):
        mine = two.stans.animal("S9")
        flags = two.give(code, to=mine).flags
        letter = Letter.objects.filter(recipient=two.world.stan.pk, kind="number_known").last()
        assert letter is not None
        context = letter.context | {"animal": None, "number": None}
        last = latest_standing(mine.pk)
        assert last is not None
        said.append((flags, context, last.label, last.p_male, last.known_elsewhere, reasons(mine)))
    assert said[0] == said[1]


def piece(two: Two, animal: Animal) -> Piece:
    """A number that nobody bears yet, from the animal's keeper, read ahead of the lock."""
    who, body = animal.collection.keeper.pk, {"scheme": "transponder", "code": "985000000000500"}
    item = two.world.item("identifier_assigned", animal.pk, body)
    found = Piece([item], Actor(keeper=who), two.world.now, who)
    found.prepare()
    return found


def test_who_comes_second_is_told_whatever_was_read_ahead(two: Two) -> None:
    later = piece(two, two.newer)
    piece(two, two.older).take()
    later.take()
    assert [one.flags for one in later.outcomes] == [KNOWN]


def test_of_two_written_together_the_second_is_told(two: Two) -> None:
    both = [piece(two, two.older), piece(two, two.newer)]
    write_together(both)
    assert not both[1].is_done
    both[1].take()
    assert [one.outcomes[0].flags for one in both] == [(), KNOWN]


@pytest.mark.parametrize("hidden", [True, False])
def test_replay_holds_the_standing_to_the_numbers_in_the_log(
    two: Two, monkeypatch: pytest.MonkeyPatch, *, hidden: bool
) -> None:
    """A server that hides it, or says it of an animal whose number nobody else bears."""
    two.give()
    animal = two.newer if hidden else two.older
    said = Bearing(elsewhere=not hidden)
    monkeypatch.setattr(known, "bearings", lambda ids: dict.fromkeys(ids, said))
    two.world.call(animal.collection.keeper, animal, "male")
    (found,) = Replay().differences()
    assert found.animal == animal.pk
    assert "known elsewhere" in found.what


def test_a_number_of_one_registered_in_error_is_the_others_alone(two: Two) -> None:
    """A record made by mistake keeps nobody else's snake from being verified, before or after."""
    world, slip = two.stans, two.world.animal("E-1")
    number = "985 000 077 777 777"
    two.give(number, to=slip)
    two.give(number)
    two.agree()
    before = latest_standing(two.newer.pk)
    assert before is not None
    assert before.known_elsewhere
    two.world.say(two.world.odile, "registered_in_error", slip.pk, {})
    after = latest_standing(two.newer.pk)
    assert after is not None
    assert (after.label, after.known_elsewhere) == ("verified female", False)
    assert Letter.objects.filter(kind="number_moved", recipient=world.odile.pk).count() == 1
    assert two.give(number, to=two.world.animal("E-2")).flags == KNOWN, "it is the other's now"
    assert not list(Replay().differences())
    assert holds()


def test_what_was_stated_of_one_registered_in_error_is_not_stated_anew(two: Two) -> None:
    """A newer rule goes through all animals, and is not held up by one that is none."""
    slip = two.world.animal("E-1")
    two.give(to=slip)
    two.give(to=two.newer)
    two.give("985 000 077 777 777", to=two.newer)
    two.give("985 000 077 777 777", to=slip)
    stated = list(standings_of(slip.pk))
    assert stated
    two.world.say(two.world.odile, "registered_in_error", slip.pk, {})
    adopt_policy("policy-strict", "sexing-1", {"verified": "0.999990"}, two.world.now)
    reassess_due(two.world.now)
    other = latest_standing(two.newer.pk)
    assert other is not None
    assert other.policy == "policy-strict"
    assert list(standings_of(slip.pk)) == stated
    assert holds()
