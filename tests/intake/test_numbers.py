"""Numbers that the record learned: when they come into force, and what they move."""

from datetime import timedelta
from io import StringIO
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from tests.learned import LITTLE, MISLEADS, MUCH, publish, put_in_force
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.intake import numbers
from scalewitness.intake.numbers import adopt_numbers, foresee_numbers
from scalewitness.intake.statements import adopt_policy, update_examiner_records
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.standings.models import AdoptedNumbers, Standing
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.learned import QUARTER
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

SLIGHT = {MISLEADS: "0.003000"}


@told_once
def animal(world: World) -> Animal:
    """A verified male."""
    return world.verified("V1")


def stated(animal: Animal) -> Standing:
    found = latest_standing(animal.pk)
    assert found is not None
    return found


def replays() -> bool:
    replay = Replay()
    return list(replay.differences()) == [] and replay.checked == Standing.objects.count()


# --- coming into force ----------------------------------------------------------------


def test_they_come_into_force_by_a_fact_and_restate_nothing(world: World, animal: Animal) -> None:
    before = stated(animal)
    adopted = put_in_force(world, SLIGHT)
    entry = Entry.objects.get(position=adopted.position)
    assert (entry.kind, entry.by) == ("numbers_adopted", None)
    body = leaf_of(entry).body
    assert (body["version"], body["kept"]) == ("sexing-3.1", "0.985000")
    assert body["numbers"][0]["value"] == SLIGHT[MISLEADS]
    assert stated(animal).pk == before.pk
    assert dossier(animal).assessment.parameters == "sexing-3"
    world.call(world.odile, animal, "male")
    assert stated(animal).parameters == "sexing-3.1"
    shown = dossier(animal).assessment
    assert f"{shown.p_male:.6f}" == stated(animal).p_male != before.p_male
    (used,) = [one for one in shown.used if (one.of, one.name) == ("base", MISLEADS)]
    assert (used.value, used.status) == (0.003, "learned here")
    assert "46 males and 51 females" in used.source
    assert replays()


def test_they_come_into_force_once_in_a_quarter(world: World) -> None:
    put_in_force(world, SLIGHT)
    publish(world, LITTLE)
    world.now += QUARTER - timedelta(seconds=1)
    with pytest.raises(Refused, match="may come into force once in a quarter: from 3 May 2027 on"):
        adopt_numbers(world.now)
    with pytest.raises(Refused, match="once in a quarter"):
        foresee_numbers(world.now)
    world.now += timedelta(seconds=1)
    assert adopt_numbers(world.now).version == "sexing-3.2"
    assert yardstick().parameters == "sexing-3.2"


def test_nothing_comes_into_force_that_says_nothing_new(world: World) -> None:
    with pytest.raises(Refused, match="Nothing has been learned yet"):
        adopt_numbers(world.now)
    publish(world, {})
    with pytest.raises(Refused, match="Nothing has been learned yet"):
        adopt_numbers(world.now)
    put_in_force(world, SLIGHT)
    world.now += QUARTER
    with pytest.raises(Refused, match="last night's are the same"):
        adopt_numbers(world.now)
    with pytest.raises(CommandError, match="last night's are the same"):
        call_command("adopt_numbers", stdout=StringIO())
    assert AdoptedNumbers.objects.count() == 1


def test_a_record_kept_by_older_numbers_learns_nothing(world: World) -> None:
    adopt_policy("policy-old", "sexing-2", {}, world.now)
    publish(world, SLIGHT)
    with pytest.raises(Refused, match="kept by sexing-2, which learns nothing"):
        adopt_numbers(world.now)


def test_a_new_policy_leaves_learned_numbers_in_force(world: World, animal: Animal) -> None:
    put_in_force(world, SLIGHT)
    adopt_policy("policy-2", "sexing-3", {"verified": "0.990000"}, world.now)
    assert (stated(animal).parameters, stated(animal).policy) == ("sexing-3.1", "policy-2")
    adopt_policy("policy-3", "sexing-2", {}, world.now)
    assert stated(animal).parameters == "sexing-2"
    assert replays()


def test_a_dry_run_foresees_labels_and_letters_and_records_nothing(
    world: World, animal: Animal
) -> None:
    world.sold(animal)
    world.call(world.odile, world.animal("A1"), "male")
    publish(world, MUCH)
    entries, letters = Entry.objects.count(), Letter.objects.count()
    out = StringIO()
    call_command("adopt_numbers", "--dry-run", stdout=out)
    assert "2 animals with a standing; 1 change label:" in out.getvalue()
    assert "1  verified male → probable male" in out.getvalue()
    assert "1  disclosure" in out.getvalue()
    assert out.getvalue().endswith("Nothing was recorded.\n")
    assert (Entry.objects.count(), Letter.objects.count()) == (entries, letters)
    assert yardstick().parameters == "sexing-3"
    publish(world, SLIGHT)
    out = StringIO()
    call_command("adopt_numbers", stdout=out)
    assert out.getvalue().startswith("sexing-3.1 is in force from position ")
    world.call(world.odile, animal, "male")
    assert stated(animal).label == "verified male", "nothing of the dry run was kept"


# --- what they take away, and what they leave ------------------------------------------


def test_a_verified_sex_does_not_fall_by_a_little(world: World, animal: Animal) -> None:
    world.sold(animal)
    count = Standing.objects.count()
    put_in_force(world, LITTLE)
    assert Standing.objects.count() == count
    assert not Disclosure.objects.exists()


def test_a_call_that_agrees_does_not_bring_it_down_then(world: World, animal: Animal) -> None:
    put_in_force(world, LITTLE)
    world.call(world.odile, animal, "male")
    found = stated(animal)
    assert (found.label, found.parameters) == ("verified male", "sexing-3.1")
    assert 0.985 < float(found.p_male) < 0.99
    assert found.verified_with == "sexing-3"
    shown = dossier(animal)
    assert shown.assessment.label == "verified male"
    assert shown.assessment.reasons == ("examiners_agree", "kept_as_numbers_changed")
    assert any("take a verified sex away" in one.text for one in shown.lines)
    assert ("policy", "kept") in {(one.of, one.name) for one in shown.assessment.used}
    first = stated(animal).position
    world.pass_time(days=1)
    world.call(world.odile, animal, "male")
    put_in_force(world, {MISLEADS: "0.010000"})
    world.call(world.odile, animal, "male")
    found = stated(animal)
    assert (found.label, found.parameters) == ("verified male", "sexing-3.2")
    assert found.verified_with == "sexing-3", "by which it last met the rule"
    assert dossier(animal, first).assessment.label == "verified male"
    put_in_force(world, SLIGHT)
    world.call(world.odile, animal, "male")
    assert (stated(animal).label, stated(animal).verified_with) == ("verified male", "")
    assert replays()


def test_a_call_that_contradicts_brings_it_down_then(world: World, animal: Animal) -> None:
    world.sold(animal)
    put_in_force(world, LITTLE)
    world.call(world.odile, animal, "male")
    contrary = world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    assert stated(animal).label == "contested"
    assert Disclosure.objects.get().cause == UUID(contrary.id)
    assert replays()


def test_a_call_withdrawn_brings_it_down_then(world: World, animal: Animal) -> None:
    """By the older numbers too it would not be verified without it."""
    put_in_force(world, LITTLE)
    for call in animal.calls.exclude(by=world.odile.pk):
        who = Keeper.objects.get(pk=call.by)
        world.say(who, "call_withdrawn", animal.pk, {"call": str(call.pk)})
    assert stated(animal).label == "probable male"
    assert stated(animal).verified_with == ""
    assert replays()


def test_it_falls_where_the_numbers_bring_it_far_down_and_its_buyer_is_told(world: World) -> None:
    animal, other = world.verified("V1"), world.verified("F1", "female")
    world.sold(animal)
    adopted = put_in_force(world, MUCH)
    assert (stated(animal).label, stated(animal).parameters) == ("probable male", "sexing-3.1")
    assert stated(other).parameters == "sexing-3", "whose label stays is not stated anew"
    fact = Entry.objects.get(position=adopted.position).fact
    owed = Disclosure.objects.get()
    assert (owed.cause, owed.change) == (fact, "fell")
    assert replays()


def test_one_letter_tells_each_reader_that_nothing_new_was_seen(world: World) -> None:
    for tag in ("V1", "V2"):
        world.sold(world.verified(tag), sale=new_id(world.now))
    Letter.objects.all().delete()
    put_in_force(world, MUCH)
    letters = Letter.objects.filter(state="waiting")
    assert {one.kind for one in letters} == {COVER}
    assert letters.filter(recipient=world.odile.pk).count() == 1
    for one in letters:
        message = compose(one)
        assert message.subject.startswith("The record learned new figures: what they change")
        told = " ".join(str(message.body).split())
        assert "has learned how often checks of each kind go wrong, from animals whose sex" in told
        assert "Nothing new was seen of any animal below, and no call changed." in told
        assert "new rule" not in told


def test_what_falls_by_numbers_alone_says_so_when_a_call_is_what_shows_it(
    world: World, animal: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the adoption and the animal's turn to be looked at."""
    world.sold(animal)
    monkeypatch.setattr(numbers, "reassess_due", lambda now: 0)
    adopted = put_in_force(world, MUCH)
    assert world.label(animal) == "verified male"
    world.call(world.odile, animal, "male")
    assert world.label(animal) == "probable male"
    fact = Entry.objects.get(position=adopted.position).fact
    assert Disclosure.objects.get().cause == fact
    assert replays()


def test_what_a_call_brought_below_is_not_put_down_to_the_numbers(
    world: World, animal: Animal
) -> None:
    """The older numbers would have borne the call, the newer ones the sex as it was."""
    world.sold(animal)
    put_in_force(world, {MISLEADS: "0.011500"})
    assert world.label(animal) == "verified male"
    body = {"observed": {"method": "visual", "feature": "tail"}, "conclusion": "female"}
    weak = world.call(world.odile, animal, "female", body=body)
    assert world.label(animal) == "probable male"
    assert Disclosure.objects.get().cause == UUID(weak.id)
    assert replays()


def test_numbers_bring_labels_up_as_well(world: World, animal: Animal) -> None:
    """What never met the rule before has nothing to keep."""
    put_in_force(world, MUCH)
    assert world.label(animal) == "probable male"
    put_in_force(world, LITTLE)
    assert world.label(animal) == "probable male", "0.987 verifies nothing anew"
    put_in_force(world, SLIGHT)
    assert world.label(animal) == "verified male"
    assert replays()


def test_an_examiners_record_brings_it_down_as_before(world: World, animal: Animal) -> None:
    """What is kept is kept against numbers, and against nothing else."""
    put_in_force(world, LITTLE)
    world.call(world.odile, animal, "male")
    adopt_policy("policy-strict", "sexing-3", {"verified": "0.999000"}, world.now)
    assert world.label(animal) == "probable male"
    update_examiner_records(world.now)
    assert replays()


# --- sales ------------------------------------------------------------------------------


def test_an_open_offer_is_judged_by_the_standing_it_was_made_with(
    world: World, animal: Animal
) -> None:
    sale = world.draft(animal)
    world.pass_time(days=91)
    publish(world, LITTLE)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    adopt_numbers(world.now)
    confirmed = world.confirm(sale, offer.id, offer.position)
    assert confirmed.status == "accepted"
    world.say(world.odile, "payment_recorded", sale.pk)
    assert not Disclosure.objects.exists()


def test_an_open_offer_is_refused_where_the_label_changed(
    world: World, animal: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also before the animal had its turn to be looked at."""
    sale = world.draft(animal)
    world.pass_time(days=91)
    publish(world, MUCH)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    monkeypatch.setattr(numbers, "reassess_due", lambda now: 0)
    adopt_numbers(world.now)
    with pytest.raises(Refused) as error:
        world.confirm(sale, offer.id, offer.position)
    assert error.value.as_problem()["code"] == "standing_moved"
    assert world.label(animal) == "probable male"


def test_a_new_offer_represents_the_numbers_in_force(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    put_in_force(world, LITTLE)
    with pytest.raises(Refused) as error:
        world.offer(sale)
    assert error.value.as_problem()["code"] == "standing_moved"
    assert (stated(animal).label, stated(animal).parameters) == ("verified male", "sexing-3.1")
    assert world.offer(sale).status == "accepted"
    assert replays()
