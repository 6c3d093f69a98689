"""Which letters follow on one that nobody answers, and what the week's letter counts."""

from datetime import datetime, timedelta

import pytest
from tests.intake.test_letters_owed import Scene, find, object_to_it, scene
from tests.world import World, new_id

from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.letters.chasing import chase
from scalewitness.letters.digests import owe_digests, waiting_for
from scalewitness.mail.models import Letter

pytestmark = pytest.mark.django_db
__all__ = ["scene"]
SENT = datetime.fromisoformat("2026-11-10T09:00:00+00:00")
MOMENT = timedelta(milliseconds=1)
REMINDED = {"disclosure_reminder to Bela"}
SILENT = {"disclosure_silent to Odile"}
LOST = {"disclosure_undelivered to Odile"}


@pytest.mark.parametrize(
    ("state", "after", "wanted", "owed"),
    [
        # the letter's state, how long after it left, whether reminders are wanted: what follows
        ("sent", timedelta(days=14) - MOMENT, True, set()),
        ("sent", timedelta(days=14), True, REMINDED),
        ("sent", timedelta(days=28) - MOMENT, True, REMINDED),
        ("sent", timedelta(days=28), True, REMINDED | SILENT),
        ("sent", timedelta(days=14), False, set()),
        ("sent", timedelta(days=28), False, SILENT),
        ("waiting", timedelta(days=60), True, set()),
        ("joined", timedelta(days=60), True, set()),
        ("failed", timedelta(0), True, LOST),
        ("failed", timedelta(days=60), True, LOST),
        ("returned", timedelta(days=60), True, LOST),
    ],
)
@pytest.mark.some(4)
def test_what_follows_on_a_disclosure_that_is_not_acknowledged(
    scene: Scene, state: str, after: timedelta, wanted: bool, owed: set[str]
) -> None:
    scene.sell()
    scene.fall()
    scene.sale.buyer.reminders = wanted
    scene.sale.buyer.save()
    letters = Letter.objects.filter(kind="disclosure")
    letters.update(state=state, sent_at=None if state == "waiting" else SENT)
    before = set(Letter.objects.values_list("pk", flat=True))
    assert chase(SENT + after) == 1
    assert chase(SENT + after) == 1, "and once only"
    new = list(Letter.objects.exclude(pk__in=before))
    assert {f"{one.kind} to {one.context['to_name'].split()[0]}" for one in new} == owed
    assert len(new) == len(owed)
    letter, disclosure = letters.get(), Disclosure.objects.get()
    for one in new:
        assert one.context["animal"]["id"] == str(scene.animal.pk)
        assert one.context["owed_at"] == disclosure.owed_at.isoformat()
        to_buyer = one.kind == "disclosure_reminder"
        assert (one.recipient, one.to) == (
            (scene.sale.buyer_id, "bela@buyers.example")
            if to_buyer
            else (scene.world.odile.pk, scene.world.odile.email)
        )
        if to_buyer:
            assert (one.context["link"], one.context["change"], one.context["seller_name"]) == (
                letter.context["link"], "fell", "Odile Marten",
            )  # fmt: skip
        else:
            assert (one.context["buyer_name"], one.context["disclosure"]) == (
                "Bela Novak", str(disclosure.pk),
            )  # fmt: skip


def counts(scene: Scene) -> dict[str, int]:
    return waiting_for(scene.world.odile.pk, scene.world.now)


def test_what_the_weeks_letter_counts(scene: Scene) -> None:
    assert counts(scene) == {}
    scene.sell()
    assert counts(scene) == {}
    scene.fall()
    assert counts(scene) == {"unacknowledged": 1, "disputes": 1}
    scene.rise()
    assert counts(scene) == {"unacknowledged": 2, "disputes": 1}
    first = Disclosure.objects.order_by("position")[0]
    Letter.objects.filter(cause=first.pk).update(state="returned")
    assert counts(scene) == {"undelivered": 1, "unacknowledged": 1, "disputes": 1}
    find(scene)
    assert counts(scene) == {"undelivered": 1, "unacknowledged": 1}
    Letter.objects.filter(kind="disclosure").update(state="returned")
    assert counts(scene) == {"undelivered": 2}
    assert waiting_for(scene.world.pim.pk, scene.world.now) == {"undelivered": 2}
    assert waiting_for(scene.world.stan.pk, scene.world.now) == {}


def test_a_held_sale_is_counted_while_it_waits(scene: Scene) -> None:
    scene.offer()
    scene.accept_visit()
    scene.fall()
    assert counts(scene) == {"held_sales": 1, "disputes": 1}
    scene.seller("offer_withdrawn")
    assert counts(scene) == {"disputes": 1}


def test_who_gets_the_weeks_letter(scene: Scene) -> None:
    world, monday = scene.world, datetime.fromisoformat("2026-12-07T06:00:00+00:00")
    object_to_it(scene)
    assert owe_digests(monday) == 2
    told = Letter.objects.filter(kind="digest")
    assert {(one.recipient, one.to) for one in told} == {
        (world.odile.pk, world.odile.email), (world.pim.pk, world.pim.email),
    }  # fmt: skip
    assert {one.context["to_name"] for one in told} == {"Odile Marten", "Pim Alder"}
    assert all(one.context["counts"] == {"disputes": 1} for one in told)
    owe_digests(monday + timedelta(days=6))
    assert told.all().count() == 2
    world.pim.digest = False
    world.pim.save()
    assert owe_digests(monday + timedelta(days=7)) == 1
    assert told.all().count() == 3
    world.odile.is_active = False
    world.odile.save()
    assert owe_digests(monday + timedelta(days=14)) == 0


# --- one of two -----------------------------------------------------------------------------


@pytest.mark.parametrize("fallen", ["the sire", "the dam"])
@pytest.mark.parametrize("mate", ["the older", "the younger"])
def test_a_letter_of_a_pairing_names_the_mate(scene: Scene, fallen: str, mate: str) -> None:
    world = scene.world
    older = world.animal("M1")
    world.pass_time(days=1)
    animal = world.verified("V2")
    world.pass_time(days=1)
    other = older if mate == "the older" else world.animal("M2")
    sire, dam = (animal, other) if fallen == "the sire" else (other, animal)
    pair = {"sire": str(sire.pk), "dam": str(dam.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "female", visit=visit)
    letter = Letter.objects.get(kind="pairing_affected", to=world.odile.email)
    (pairing,) = letter.context["pairings"]
    assert pairing["mate"]["id"] == str(other.pk)
    assert letter.context["animal"]["id"] == str(animal.pk)
    planned_as = "male" if fallen == "the sire" else "female"
    assert (pairing["season"], pairing["sex"], pairing["change"]) == (2027, planned_as, "fell")


@pytest.mark.parametrize("back_to", ["the older", "the younger"])
def test_an_animal_goes_back_to_another_room_of_its_keeper(world: World, back_to: str) -> None:
    older = create_collection(world.stan, new_id(world.now - timedelta(days=1)), "Older", world.now)
    younger = create_collection(world.stan, new_id(world.now), "Younger", world.now)
    target, here = (older, younger) if back_to == "the older" else (younger, older)
    animal = world.animal("S1", room=here)
    moved = {"to": str(target.pk), "why": "returned"}
    world.say(world.stan, "custody_changed", animal.pk, moved)
    animal.refresh_from_db()
    assert animal.collection == target
