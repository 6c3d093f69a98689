"""Two accounts that a finding names as one person's count as one, once both could object."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from tests.assessed import assessment_of
from tests.pages.browser import Browser
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing, vouched

from scalewitness.animals.models import Animal
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.domain.errors import OutOfRange
from scalewitness.intake.named_as_one import count_named, find_one_person
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper, NamedAsOne
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
LATER = timedelta(days=15)


def holds_together() -> None:
    assert list(Replay().differences()) == []
    call_command("fsck")


def last(animal: Animal, kind: str = "standing_changed") -> dict[str, object]:
    entry = Entry.objects.filter(about=animal.pk, kind=kind).latest("position")
    return dict(leaf_of(entry).body)


@told_once
def two(world: World) -> tuple[Animal, Keeper, Keeper]:
    """Guests who verified an animal together, one of them with a footing."""
    animal, one, other = world.animal("A1"), vouched(keeper("One"), world.now), keeper("Other")
    for who in (one, other):
        world.pass_time(days=1)
        world.call(who, animal, "male", visit=world.visit(who, animal))
    assert world.label(animal) == "verified male"
    return animal, one, other


def finding(world: World, animal: Animal, agreed: bool = True) -> UUID:
    """Stan sees the animal, and agrees as the arbiter."""
    world.view(world.stan, animal)
    opened = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.odile, "dispute_opened", new_id(world.now), opened)
    dispute = Dispute.objects.latest("position").pk
    body = {"outcome": "unresolved", "basis": "arbiter", "arbiter": str(world.stan.pk)}
    texts = {"reasons": "Two of the guests came in one car, and write alike."}
    said = world.say(world.odile, "finding_recorded", dispute, body, texts=texts)
    if agreed:
        answer = {"finding": said.id, "agrees": True}
        world.say(world.stan, "finding_answered", dispute, answer)
    return Finding.objects.get(pk=said.id).pk


def sent(world: World) -> None:
    """The letters left."""
    Letter.objects.filter(kind="named_as_one").update(state="sent", sent_at=world.now, attempts=1)


def named(world: World, two: tuple[Animal, Keeper, Keeper]) -> NamedAsOne:
    animal, one, other = two
    found = find_one_person(finding(world, animal), one.pk, other.pk, world.now)
    sent(world)
    return found


def count(world: World) -> int:
    world.pass_time(days=15)
    return count_named(world.now)


def test_they_count_as_one_once_both_had_their_days(
    world: World, two: tuple[Animal, Keeper, Keeper]
) -> None:
    animal = two[0]
    before = assessment_of(animal)[0].p_male
    named(world, two)
    world.pass_time(days=13)
    assert (count_named(world.now), world.label(animal)) == (0, "verified male")
    world.pass_time(days=2)
    assert count_named(world.now) == 1
    assert (world.label(animal), assessment_of(animal)[0].p_male) == ("probable male", before)
    assert any("counts as one examiner" in line.text for line in dossier(animal).lines)
    assert count_named(world.now) == 0
    world.call(world.fenna, animal, "male", visit=world.visit(world.fenna, animal))
    assert world.label(animal) == "verified male"
    holds_together()


def test_it_is_about_that_animal_alone(world: World, two: tuple[Animal, Keeper, Keeper]) -> None:
    animal, one, other = two
    named(world, two)
    assert count(world) == 1
    elsewhere = world.animal("A2")
    for who in (one, other):
        world.call(who, elsewhere, "male", visit=world.visit(who, elsewhere))
    assert world.label(elsewhere) == "verified male"
    world.call(one, animal, "male", visit=world.visit(one, animal))
    (admitted,) = last(animal)["admitted"]  # type: ignore[misc]
    assert admitted["one_with"], "what is called later counts as the other's as well"
    holds_together()


def test_the_log_names_neither(world: World, two: tuple[Animal, Keeper, Keeper]) -> None:
    animal, one, other = two
    start = Entry.objects.count()
    named(world, two)
    count(world)
    said = Entry.objects.filter(position__gte=start, by=None)
    assert {"one_person_found", "standing_changed"} <= set(said.values_list("kind", flat=True))
    ids = (str(one.pk).encode(), str(other.pk).encode())
    assert not any(id in bytes(entry.leaf) for entry in said for id in ids)
    assert len(str(last(animal, "one_person_found")["accounts"])) == 64


def test_an_objection_stops_it_until_the_operator_heard_them(
    world: World, two: tuple[Animal, Keeper, Keeper], capsys: pytest.CaptureFixture[str]
) -> None:
    animal, one, other = two
    pair = named(world, two)
    assert "We are two people" not in Browser(world.stan).open("/account/one-examiner").text
    theirs = Browser(other)
    assert "A1" in theirs.open("/account/one-examiner").text
    assert theirs.fill("/account/one-examiner").goes_to == "/account/one-examiner"
    assert "waits for the operator" in theirs.open("/account/one-examiner").text
    assert count(world) == 0
    assert world.label(animal) == "verified male"
    call_command("find_one_person")
    assert str(pair.pk) in capsys.readouterr().out
    call_command("find_one_person", "--objection-is-wrong", str(pair.pk))
    assert world.label(animal) == "probable male"
    told = Letter.objects.filter(kind="named_as_one_answered")
    assert {one.recipient for one in told} == {one.pk, other.pk}
    holds_together()


def test_one_that_is_right_ends_it_for_good(
    world: World, two: tuple[Animal, Keeper, Keeper]
) -> None:
    animal, one, other = two
    named(world, two)
    count(world)
    call_command("part_accounts", str(other.pk), str(one.pk))
    assert world.label(animal) == "verified male"
    assert (count_named(world.now + LATER), world.label(animal)) == (0, "verified male")
    assert Letter.objects.filter(kind="named_as_one_answered").count() == 2
    holds_together()


def test_what_one_confirmed_of_the_other_s_settles_nothing(world: World) -> None:
    animal, one, other = world.animal("E1"), keeper("One"), vouched(keeper("Two"), world.now)
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = probing("female", world.chip(animal)) | {"observed": seen}
    made = world.say(world.odile, "call_made", animal.pk, body)
    world.view(other, animal)
    world.say(other, "witness_stated", animal.pk, {"call": made.id})
    assert world.label(animal) == "verified female"
    found = finding(world, animal)
    with pytest.raises(OutOfRange, match="both of these accounts spoke of"):
        find_one_person(found, one.pk, other.pk, world.now)
    find_one_person(found, world.odile.pk, other.pk, world.now)
    sent(world)
    assert count(world) == 1
    assert world.label(animal) == "probable female"
    call_command("part_accounts", str(other.pk), str(world.odile.pk))
    assert world.label(animal) == "verified female"
    holds_together()


def test_whoever_records_a_finding_sets_nothing_alone(
    world: World, two: tuple[Animal, Keeper, Keeper]
) -> None:
    animal, one, other = two
    found = finding(world, animal, agreed=False)
    with pytest.raises(CommandError, match="Nobody but the keeper"):
        call_command("find_one_person", str(found), str(one.pk), str(other.pk))
    assert not NamedAsOne.objects.exists()


def test_days_to_object_begin_when_both_letters_left_or_came_back(
    world: World, two: tuple[Animal, Keeper, Keeper]
) -> None:
    animal, one, other = two
    find_one_person(finding(world, animal), one.pk, other.pk, world.now)
    assert count(world) == 0, "they wait at a host that is away"
    letters = Letter.objects.filter(kind="named_as_one")
    letters.filter(recipient=one.pk).update(state="sent", sent_at=world.now, attempts=1)
    letters.filter(recipient=other.pk).update(state="returned", sent_at=world.now, attempts=1)
    assert count_named(world.now) == 0
    assert count(world) == 1, "a dead address is no way out"


def test_the_letter_tells_neither_who_the_other_is_nor_a_sex(
    world: World, two: tuple[Animal, Keeper, Keeper]
) -> None:
    animal, one, other = two
    animal.name = "Moss"
    animal.save()
    named(world, two)
    texts = [compose(letter).body for letter in Letter.objects.filter(kind="named_as_one")]
    assert len(texts) == 2
    for text in texts:
        assert "A1" in text
        assert "Moss" not in text
        assert "female" not in text
        assert not (one.name in text and other.name in text)
