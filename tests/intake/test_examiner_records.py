"""Examiners' records: settled by others, logged as facts, weighed from then on."""

from io import StringIO

import pytest
from django.core.management import call_command
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.intake.statements import update_examiner_records
from scalewitness.intake.tasks import update_records
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Practitioner
from scalewitness.standings.models import ExaminerRecord, Standing
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.records import latest_records
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def settle_by_eggs(world: World, animal: Animal) -> None:
    world.lays(animal)


def checked(world: World, tag: str, sex: str) -> Animal:
    animal = world.animal(tag)
    world.call(world.greta, animal, sex, visit=world.visit(world.greta, animal))
    world.pass_time(days=4)
    return animal


def test_blind_calls_on_animals_settled_by_others_make_the_record(world: World) -> None:
    for number, sex in enumerate(["female", "female", "male"]):
        settle_by_eggs(world, checked(world, f"E{number}", sex))
    assert update_examiner_records(world.now) == 1
    record = latest_records()[world.greta.pk]
    assert [(one.method, one.sex, one.wrong, one.right) for one in record.counts] == [
        ("probing", "female", 1, 2)
    ]
    assert world.odile.pk not in latest_records(), "her own eggs settle nothing about her"
    assert update_examiner_records(world.now) == 0


def test_a_poor_record_weighs_less_from_then_on(world: World) -> None:
    unsettled = checked(world, "U1", "female")
    before = latest_standing(unsettled.pk)
    assert before is not None
    for number in range(6):
        settle_by_eggs(world, checked(world, f"W{number}", "male"))
    update_examiner_records(world.now)
    after = latest_standing(unsettled.pk)
    assert after is not None
    assert after.position > before.position
    record = ExaminerRecord.objects.get()
    assert after.examiner_records == f"records-{record.position}"
    assert before.examiner_records == "none"
    # Wrong on females, so her "female" now rests on a worse error rate for that sex.
    assert float(after.p_male) > float(before.p_male)


def test_replay_stays_exact_across_a_change_of_records(world: World) -> None:
    checked(world, "U1", "female")
    settle_by_eggs(world, checked(world, "W1", "male"))
    call_command("update_examiner_records", stdout=StringIO())
    settle_by_eggs(world, checked(world, "W2", "male"))
    update_examiner_records(world.now)
    assert Entry.objects.filter(kind="examiner_record_changed").count() == 2
    replay = Replay()
    assert list(replay.differences()) == []
    assert replay.checked == Standing.objects.count()


def test_the_record_of_the_past_is_the_one_then_in_force(world: World) -> None:
    settle_by_eggs(world, checked(world, "W1", "male"))
    update_examiner_records(world.now)
    first = ExaminerRecord.objects.get()
    settle_by_eggs(world, checked(world, "W2", "male"))
    update_examiner_records(world.now)
    assert yardstick(first.position - 1).records.version == "none"
    then, now = yardstick(first.position).records, yardstick().records
    assert then.version == f"records-{first.position}"
    key = (str(world.greta.pk), "probing", "female")
    assert now.rates[key][0] == then.rates[key][0] + 1


def test_a_withdrawn_proof_takes_the_record_back(world: World) -> None:
    animal = checked(world, "W1", "male")
    settle_by_eggs(world, animal)
    update_examiner_records(world.now)
    eggs = animal.calls.get(method="reproduction")
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(eggs.pk)})
    assert update_examiner_records(world.now) == 1
    assert latest_records()[world.greta.pk].counts == ()


def test_ones_own_decisive_call_settles_nothing_for_oneself(world: World) -> None:
    animal = world.animal("V1")
    vet = Practitioner.objects.create(id=new_id(), named_by=world.odile, name="Dr Ilse Brandt")
    reported = {"role": "veterinarian", "who": str(vet.pk)}
    for observed in (
        {"method": "ultrasound", "seen": "hemipenes"},
        {"method": "endoscopy", "seen": "testes"},
    ):
        body = probing("male", "V1") | {"observed": observed, "reported": reported}
        world.say(world.odile, "call_made", animal.pk, body)
    assert update_examiner_records(world.now) == 0


@pytest.mark.parametrize("ruled_out", [True, False])
def test_a_father_settles_an_animal_once_confirmed_and_with_nothing_left_open(
    world: World, ruled_out: bool
) -> None:
    animal, named = checked(world, "P1", "female"), new_id()
    Practitioner.objects.create(id=named, named_by=world.odile, name="Loci")
    observed = {"method": "parentage", "found": "sire", "young": 4}
    excluded = ("other_males", "stored_sperm", "parthenogenesis")
    observed |= {f"{one}_excluded": ruled_out for one in excluded}
    body = probing("male", world.chip(animal)) | {"observed": observed, "document": "cd" * 32}
    body["reported"] = {"role": "laboratory", "who": str(named)}
    call = world.say(world.odile, "call_made", animal.pk, body).id
    assert update_examiner_records(world.now) == 0, "it is Odile's word"
    world.view(world.stan, animal)
    world.say(world.stan, "document_read", animal.pk, {"call": call, "document": "cd" * 32})
    assert update_examiner_records(world.now) == ruled_out
    if ruled_out:
        (count,) = latest_records()[world.greta.pk].counts
        assert (count.sex, count.wrong, count.right) == ("male", 1, 0)


def test_the_clock_knows_the_task_by_its_name() -> None:
    from django.conf import settings

    names = {one["task"] for one in settings.CELERY_BEAT_SCHEDULE.values()}
    assert update_records.name in names


def test_a_record_waits_while_someone_is_to_check_its_animal_blind(world: World) -> None:
    animal = checked(world, "B1", "female")
    visit = world.visit(world.stan, animal)
    settle_by_eggs(world, animal)
    assert update_examiner_records(world.now) == 0, "the count would tell Stan of eggs"
    world.call(world.stan, animal, "female", visit=visit)
    assert update_examiner_records(world.now) == 2, "Greta's, and now Stan's own"


def test_a_record_waits_no_longer_than_a_call_on_the_visit_may_come(world: World) -> None:
    animal = checked(world, "B1", "female")
    world.visit(world.stan, animal, days=3)
    settle_by_eggs(world, animal)
    world.pass_time(days=3 + 14)
    assert update_examiner_records(world.now) == 1
