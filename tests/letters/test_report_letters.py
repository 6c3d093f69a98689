"""What practices are asked, and who hears what they answered."""

from datetime import timedelta

import pytest
from tests.intake.test_letters_owed import Scene, answer, say
from tests.intake.test_reports import answer as answer_report
from tests.intake.test_reports import endoscopy, entered
from tests.letters.test_what_letters_hold import about, described, last
from tests.world import World, keeper, new_id

from scalewitness.ledger.models import Entry
from scalewitness.letters.reports import ASK_AGAIN, LASTS, ask_practitioners
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper, Practitioner, PractitionerLink
from scalewitness.people.services import name_practitioner

pytestmark = pytest.mark.django_db
MOMENT = timedelta(milliseconds=1)


@pytest.fixture
def vet(world: World) -> Keeper:
    return keeper("Ilse Brandt")


@pytest.fixture
def named(world: World, vet: Keeper) -> Practitioner:
    found = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    entered(world, found, vet)
    return found


def asked() -> list[Letter]:
    return list(Letter.objects.filter(kind="report_to_answer").order_by("created_at"))


def test_what_a_practice_is_asked(world: World, named: Practitioner, vet: Keeper) -> None:
    world.make_partner(world.pim)
    reported = [world.animal(f"R{number}") for number in range(3)]
    for animal in reported[:2]:
        endoscopy(world, animal, named)
    taken_back = endoscopy(world, reported[2], named)
    world.say(world.odile, "call_withdrawn", reported[2].pk, {"call": taken_back})
    assert ask_practitioners(world.now) == 1
    (letter,) = asked()
    link = PractitionerLink.objects.get()
    assert (letter.to, letter.recipient, letter.cause) == (vet.email, named.pk, link.pk)
    assert letter.context == {
        "to_name": "Dr Ilse Brandt",
        "senders": [{"id": str(world.odile.pk), "name": "Odile Marten"}],
        "count": 2,
        "until": (world.now + timedelta(days=60)).isoformat(),
        "reports_link": str(link.pk),
    }
    assert timedelta(days=1) == ASK_AGAIN
    assert timedelta(days=60) == LASTS
    assert link.upto == Entry.objects.get(fact=reported[1].calls.get().pk).position


@pytest.mark.parametrize(("after", "letters"), [(-MOMENT, 1), (timedelta(0), 2)])
def test_a_practice_is_asked_again_after_a_day_and_of_what_is_new(
    world: World, named: Practitioner, after: timedelta, letters: int
) -> None:
    endoscopy(world, world.animal("R1"), named)
    ask_practitioners(world.now)
    first = world.now
    world.pass_time(hours=1)
    endoscopy(world, world.animal("R2"), named)
    assert ask_practitioners(first + timedelta(days=1) + after) == letters - 1
    assert [one.context["count"] for one in asked()] == [1] * letters


def test_a_practice_is_asked_of_its_own_reports_alone(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    other = name_practitioner(world.odile, new_id(world.now), "Dr Ida Holm")
    entered(world, other, keeper("Ida Holm"))
    endoscopy(world, world.animal("R1"), named)
    for number in range(2):
        endoscopy(world, world.animal(f"S{number}"), other)
    assert ask_practitioners(world.now) == 2
    asked_of = {one.context["to_name"]: one.context["count"] for one in asked()}
    assert asked_of == {"Dr Ilse Brandt": 1, "Dr Ida Holm": 2}


def test_what_was_answered_is_not_asked(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    answer_report(world, vet, animal, call, "confirmed")
    assert ask_practitioners(world.now) == 0
    endoscopy(world, world.animal("R2"), named)
    assert ask_practitioners(world.now) == 1
    assert asked()[0].context["count"] == 1


def test_what_is_told_of_an_answer(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    sale = world.draft(animal)
    world.offer(sale)
    Letter.objects.all().delete()
    answer_report(world, vet, animal, call, "denied")
    said = {
        "answer": "denied",
        "role": "veterinarian",
        "method": "endoscopy",
        "examined_at": animal.calls.get().examined_at.isoformat(),
    }
    to_keeper = Letter.objects.get(kind="report_answered")
    assert to_keeper.context == {"to_name": "Odile Marten", "animal": described(animal)} | said
    to_buyer = Letter.objects.get(kind="report_answered_buyer")
    assert to_buyer.recipient == sale.buyer_id
    scene = Scene(world, animal, sale)
    assert to_buyer.context == about(scene) | {"animal": described(animal)} | said
    assert {to_keeper.cause, to_buyer.cause} == {last("report_answered").fact}


@pytest.mark.parametrize("ended", ["offer_declined", "offer_withdrawn", None])
def test_a_buyer_whose_sale_came_to_nothing_hears_of_no_answer(
    world: World, named: Practitioner, vet: Keeper, ended: str | None
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    sale = world.draft(animal)
    scene = Scene(world, animal, sale)
    if ended:
        world.offer(sale)
        (answer if ended == "offer_declined" else say)(ended)(scene)
    answer_report(world, vet, animal, call, "denied")
    assert not Letter.objects.filter(kind="report_answered_buyer").exists()


def test_a_former_partner_who_sent_it_hears_without_the_animals_name(
    world: World, vet: Keeper
) -> None:
    grant = world.make_partner(world.pim)
    animal = world.animal("R1")
    named = name_practitioner(world.pim, new_id(world.now), "Dr Ilse Brandt")
    entered(world, named, vet)
    body = {"observed": {"method": "endoscopy", "seen": "testes"}}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    made = world.call(world.pim, animal, "male", body=body)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    animal.name, animal._history_user, animal._history_date = "Basil", world.odile, world.now
    animal.save()
    assert made.id is not None
    answer_report(world, vet, animal, made.id, "denied")
    told = {one.to: one for one in Letter.objects.filter(kind="report_answered")}
    assert set(told) == {world.odile.email, world.pim.email}
    assert told[world.odile.email].context["animal"]["name"] == "Basil"
    his = told[world.pim.email]
    assert (his.recipient, his.cause) == (world.pim.pk, last("report_answered").fact)
    assert his.context["animal"] == described(animal)
    assert (his.context["to_name"], his.context["answer"]) == ("Pim Alder", "denied")
