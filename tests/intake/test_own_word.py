"""A keeper's own word: once they ruled it, nothing counts in their name without a signature."""

from datetime import timedelta

import pytest
from tests.signing import Item, Phone, call, code, endorsing, phone, rule
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import end_devices, revoke_device, sign_out_everywhere
from scalewitness.intake.erasure import close_account
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.people.models import DeviceKeyEnd
from scalewitness.people.queries.own_word import by_password_only, is_own, ruled

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def odile(world: World) -> Phone:
    return phone(world, world.odile)


def bare(world: World, animal: Animal) -> Item:
    return world.item("call_made", animal.pk, probing("male"))


def ruling(one: Phone, **body: bool) -> Phone:
    assert one.send(rule(one, **body)).status == "accepted"
    return one


def test_from_the_rule_on_only_signed_facts_are_taken(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    outcomes = odile.push(
        bare(world, animal), rule(odile), bare(world, animal), call(odile, animal)
    )
    assert [one.status for one in outcomes] == ["accepted", "accepted", "refused", "accepted"]
    assert code(outcomes[2]) == "signature_required"
    assert Call.objects.filter(animal=animal).count() == 2


@pytest.mark.parametrize("device", [True, False])
def test_from_no_edge_is_an_unsigned_fact_taken(world: World, odile: Phone, device: bool) -> None:
    """Pages send without a device, programs with one that did not sign."""
    animal = world.animal("A1")
    ruling(odile)
    actor = odile.actor if device else Actor(keeper=world.odile.pk, proved=True)
    assert code(accept([bare(world, animal)], actor, world.now)[0]) == "signature_required"
    assert not Call.objects.exists()


def test_it_binds_its_keeper_alone(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    ruling(odile)
    world.call(world.greta, animal, "female", visit=visit)
    assert Call.objects.get().by == world.greta.pk


def test_what_was_sent_before_counts_once_however_it_comes_again(
    world: World, odile: Phone
) -> None:
    item = bare(world, world.animal("A1"))
    first = odile.send(item)
    ruling(odile)
    again = odile.send(item)
    assert (again.status, again.position) == ("duplicate", first.position)


def test_a_call_held_before_the_rule_may_still_be_admitted(world: World) -> None:
    """It came unsigned when nothing was required: that it came then, the record can say."""
    animal, greta = world.animal("A1"), phone(world, world.greta)
    visit = world.visit(world.greta, animal)
    at = world.now + timedelta(hours=1)
    body = probing("male") | {"visit": str(visit)}
    item = world.item("call_made", animal.pk, body, at=at)
    world.pass_time(days=20)
    assert greta.send(item).status == "held"
    ruling(greta)
    said = {"held": item["id"], "admitted": True}
    assert world.say(world.odile, "late_call_decided", animal.pk, said).status == "accepted"


def test_only_a_device_rules_with_its_signature(world: World, odile: Phone) -> None:
    item = rule(odile)
    plain = {name: value for name, value in item.items() if name != "sig"}
    assert code(odile.send(plain)) == "bad_signature"
    page = Actor(keeper=world.odile.pk)
    assert code(accept([plain], page, world.now)[0]) == "bad_signature"
    stan = phone(world, world.stan)
    for_another = stan.key.signed(world.item("signatures_required", world.odile.pk, {}))
    assert code(stan.send(for_another)) == "not_found"
    assert not ruled(world.odile.pk, world.now).required


def test_it_is_ruled_once_and_lifted_by_a_signature(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    assert code(odile.send(rule(odile, required=False))) == "not_now"
    ruling(odile)
    assert code(odile.send(rule(odile))) == "not_now"
    assert odile.send(rule(odile, wait=True)).status == "accepted"
    assert odile.send(rule(odile, required=False)).status == "accepted"
    assert odile.send(bare(world, animal)).status == "accepted"


def test_a_key_enrolled_by_password_neither_rules_nor_lifts_nor_endorses(
    world: World, odile: Phone
) -> None:
    tablet, third = (phone(world, world.odile, name=name) for name in ("tablet", "third"))
    assert by_password_only([odile.device.pk, tablet.device.pk]) == {tablet.device.pk}
    assert code(tablet.send(rule(tablet))) == "not_allowed"
    assert code(tablet.send(endorsing(tablet, third))) == "not_allowed"
    ruling(odile)
    assert code(tablet.send(rule(tablet, required=False))) == "not_allowed"
    assert odile.send(endorsing(odile, tablet)).status == "accepted"
    assert tablet.send(endorsing(tablet, third)).status == "accepted"
    assert tablet.send(rule(tablet, required=False)).status == "accepted"


def test_an_endorsement_names_a_device_of_ones_own_with_its_very_key(
    world: World, odile: Phone
) -> None:
    tablet, stan = phone(world, world.odile, name="tablet"), phone(world, world.stan)
    unkeyed = phone(world, world.odile, enrolled=False)
    assert code(odile.send(endorsing(odile, stan))) == "not_found"
    assert code(odile.send(endorsing(odile, unkeyed))) == "out_of_range"
    assert code(odile.send(endorsing(odile, tablet, key=stan.key.public))) == "out_of_range"
    assert code(odile.send(endorsing(odile, odile))) == "not_now"
    odile.send(endorsing(odile, tablet))
    assert code(odile.send(endorsing(odile, tablet))) == "not_now"
    tablet.send(tablet.revocation())
    assert not is_own(tablet.device.pk)


def test_after_the_first_device_is_lost_another_may_rule(world: World, odile: Phone) -> None:
    tablet = phone(world, world.odile, name="tablet")
    odile.send(odile.revocation())
    ruling(tablet)
    assert is_own(tablet.device.pk)


def test_a_new_key_counts_at_once_or_after_three_days(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    ruling(odile)
    tablet = phone(world, world.odile, name="tablet")
    assert tablet.send(call(tablet, animal)).status == "accepted"
    ruling(odile, wait=True)
    outcome = tablet.send(call(tablet, animal))
    assert code(outcome) == "key_waits"
    assert outcome.problem is not None
    assert outcome.problem["until"].startswith((world.now + timedelta(days=3)).date().isoformat())
    world.pass_time(days=3)
    assert tablet.send(call(tablet, animal)).status == "accepted"


def test_a_key_that_claims_an_early_hour_waits_as_long(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    ruling(odile, wait=True)
    tablet = phone(world, world.odile, name="tablet", enrolled=False)
    early = world.now - timedelta(days=9)
    said = {"device": str(tablet.device.pk), "key": tablet.key.public}
    item = world.item("device_key_enrolled", world.odile.pk, said, at=early)
    assert tablet.send(tablet.key.signed(item)).status == "accepted"
    assert code(tablet.send(call(tablet, animal))) == "key_waits"


def test_an_endorsed_key_does_not_wait_and_a_refused_one_never_counts(
    world: World, odile: Phone
) -> None:
    animal = world.animal("A1")
    ruling(odile, wait=True)
    mine, strange = (phone(world, world.odile, name=name) for name in ("mine", "strange"))
    assert odile.send(endorsing(odile, mine)).status == "accepted"
    assert mine.send(call(mine, animal)).status == "accepted"
    refusal = odile.key.signed(strange.revocation())
    assert odile.send(refusal).status == "accepted"
    world.pass_time(days=4)
    assert code(strange.send(call(strange, animal))) == "bad_signature"


def test_a_token_ends_at_once_though_its_key_takes_a_signature_to_end(
    world: World, odile: Phone
) -> None:
    """Nobody without a device can end keys in the log: whoever runs the record could otherwise end
    all of them, and then wait for the rule to be lifted."""
    animal, tablet = world.animal("A1"), phone(world, world.odile, name="tablet")
    ruling(odile)
    revoke_device(world.odile, tablet.device.pk, Actor(keeper=world.odile.pk), world.now)
    tablet.device.refresh_from_db()
    assert tablet.device.token is None
    assert code(tablet.send(call(tablet, animal))) == "bad_signature"
    assert not DeviceKeyEnd.objects.exists()
    assert odile.send(odile.key.signed(tablet.revocation())).status == "accepted"
    assert DeviceKeyEnd.objects.get().key_id == tablet.device.pk


def test_signing_out_everywhere_and_closing_go_on(world: World, odile: Phone) -> None:
    ruling(odile)
    assert sign_out_everywhere(world.odile, world.now) == 1
    assert end_devices(world.now) == 0
    close_account(world.odile, world.now)
    assert not Entry.objects.filter(kind="device_revoked").exists()


def test_what_the_record_states_itself_goes_on(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    ruling(odile)
    odile.send(call(odile, animal))
    assert Entry.objects.get(kind="standing_changed", about=animal.pk).by is None


def test_a_key_and_what_it_signs_in_one_batch_wait_too(world: World, odile: Phone) -> None:
    animal = world.animal("A1")
    ruling(odile, wait=True)
    tablet = phone(world, world.odile, name="tablet", enrolled=False)
    enrolled, called = tablet.push(tablet.enrolment(), call(tablet, animal))
    assert (enrolled.status, code(called)) == ("accepted", "key_waits")


@pytest.mark.parametrize("wait", [True, False])
def test_a_letter_tells_of_a_key_that_only_the_password_stands_for(
    world: World, odile: Phone, wait: bool
) -> None:
    """However it was enrolled: a device that was slipped in beside the pages has no letter of its
    own, and its key is told of all the same."""
    phone(world, world.odile, name="before")
    assert not Letter.objects.filter(kind="key_enrolled").exists()
    ruling(odile, wait=wait)
    phone(world, world.odile, name="strange phone")
    letter = Letter.objects.get(kind="key_enrolled")
    assert letter.to == world.odile.email
    assert letter.context["device"] == "strange phone"
    assert bool(letter.context["until"]) is wait
