"""A report is its sender's word until somebody without a share in it confirms it."""

from io import StringIO
from typing import Any, get_args
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from msgspec.structs import replace
from tests.assessed import counted
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.reports import reported_of
from scalewitness.domain.errors import Refused
from scalewitness.domain.sexing.evidence import Report
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper, Practitioner, PractitionerAddress
from scalewitness.people.services import enter_address, name_practitioner
from scalewitness.standings.queries.evidence import (
    counting_calls,
    evidence_by_animal,
    evidence_of,
)
from scalewitness.standings.queries.replay import ABOUT_ANIMALS, Replay
from scalewitness.standings.queries.replay_animals import Retraced
from scalewitness.standings.queries.rules_as_of import Rests, RulesAsOf
from scalewitness.standings.queries.settling import settles

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

DOCUMENT = "ab" * 32


@pytest.fixture
def vet(world: World) -> Keeper:
    """With an account of her own."""
    return keeper("Ilse Brandt")


@pytest.fixture
def named(world: World, vet: Keeper) -> Practitioner:
    """By Odile, at an address that nobody entered yet."""
    return name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")


def entered(world: World, named: Practitioner, vet: Keeper, by: Keeper | None = None) -> None:
    world.pass_time(minutes=1)
    enter_address(named, vet.email, new_id(world.now), world.now, by)


def endoscopy(world: World, animal: Animal, named: Practitioner, **more: Any) -> str:
    body = probing("male", tag_of(animal))
    body |= {"observed": {"method": "endoscopy", "seen": "testes"}}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}} | more
    made = world.say(world.odile, "call_made", animal.pk, body)
    assert made.id is not None
    return made.id


def eggs(world: World, who: Keeper, animal: Animal, **more: Any) -> str:
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    made = world.call(who, animal, "female", body={"observed": seen}, **more)
    assert made.id is not None
    return made.id


def answer(world: World, who: Keeper, animal: Animal, call: str, said: str) -> None:
    world.say(who, "report_answered", animal.pk, {"call": call, "answer": said})


def report(animal: Animal) -> str:
    """Of the one call on it, by its row."""
    (call,) = counting_calls(animal.pk)
    return evidence_of(call).report


def refused(world: World, who: Keeper, kind: str, animal: Animal, body: dict[str, Any]) -> str:
    with pytest.raises(Refused) as problem:
        world.say(who, kind, animal.pk, body)
    return str(problem.value.as_problem()["code"])


def test_whose_word_a_call_is_from_the_start(world: World, named: Practitioner) -> None:
    told, laid, seen = world.animal("R1"), world.animal("R2"), world.animal("R3")
    endoscopy(world, told, named)
    eggs(world, world.odile, laid)
    eggs(world, world.greta, seen, visit=world.visit(world.greta, seen))
    assert report(told) == "unconfirmed"
    assert report(laid) == "unconfirmed", "she keeps it, and nobody else saw them"
    assert report(seen) == "own"
    world.call(world.odile, plain := world.animal("R4"), "male")
    assert report(plain) == "own"


def test_whom_it_names_confirms_it_and_thinks_again(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    answer(world, vet, animal, call, "confirmed")
    assert report(animal) == "confirmed"
    again = {"call": call, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", animal, again) == "not_now"
    answer(world, vet, animal, call, "denied")
    assert report(animal) == "denied"


@pytest.mark.parametrize("role", ["veterinarian", "laboratory", "earlier_keeper"])
def test_whomever_a_report_names_answers_it(
    world: World, named: Practitioner, vet: Keeper, role: str
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named, reported={"role": role, "who": str(named.pk)})
    entered(world, named, vet)
    answer(world, vet, animal, call, "confirmed")
    assert report(animal) == "confirmed"


def test_the_animal_is_assessed_anew_in_the_same_transaction(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    answer(world, vet, animal, call, "denied")
    said, stated = Entry.objects.filter(about=animal.pk).order_by("position")[4:]
    assert (said.kind, stated.kind) == ("report_answered", "standing_changed")
    assert b'"reports":[{"call":"%s","report":"denied"}]' % call.encode() in bytes(stated.leaf)
    before, after = (counted(animal.pk, one.position)[0] for one in (said, stated))
    assert evidence_of(before).report == evidence_of(after).report == "denied"
    earlier = counted(animal.pk, said.position - 1)[0]
    assert evidence_of(earlier).report == "unconfirmed"


def test_an_answer_from_an_address_that_the_sender_gave_confirms_nothing(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet, by=world.odile)
    answer(world, vet, animal, call, "confirmed")
    assert report(animal) == "unconfirmed"
    entered(world, named, keeper("Practice Desk"))
    body = {"call": call, "answer": "denied"}
    assert refused(world, vet, "report_answered", animal, body) == "not_found", "it is not hers"


def test_nobody_else_answers_for_them(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    body = {"call": call, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", animal, body) == "not_found", "nobody said so"
    entered(world, named, vet)
    for who in (world.odile, world.stan):
        assert refused(world, who, "report_answered", animal, body) == "not_found"
    own = eggs(world, world.odile, other := world.animal("R2"))
    body = {"call": own, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", other, body) == "not_found", "no report"
    assert refused(world, vet, "report_answered", other, body | {"call": call}) == "not_found"


def test_nobody_answers_who_keeps_animals_with_the_sender(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    grant = world.make_partner(vet)
    body = {"call": call, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", animal, body) == "not_allowed"
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    assert refused(world, vet, "report_answered", animal, body) == "not_allowed", "a minute ago"
    entered(world, named, world.odile)
    assert refused(world, world.odile, "report_answered", animal, body) == "not_allowed"


def test_whoever_has_an_account_there_is_the_same_by_link(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    """She keeps animals with the sender; then she is to check it blind; then neither."""
    animal = world.animal("R1")
    entered(world, named, vet)
    call = endoscopy(world, animal, named)
    item = world.item("report_answered", animal.pk, {"call": call, "answer": "confirmed"})
    by_link = Actor(practitioner=named.pk)

    def code() -> str:
        try:
            return accept_one(item, by_link, world.now).status
        except Refused as problem:
            return str(problem.as_problem()["code"])

    grant = world.make_partner(vet)
    assert code() == "not_allowed"
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    other = name_practitioner(world.odile, new_id(world.now), "Dr Ida Holm")
    guest = keeper("Ida Holm")
    entered(world, other, guest)
    seen = endoscopy(world, checked := world.animal("R2"), other)
    world.visit(guest, checked)
    item = world.item("report_answered", checked.pk, {"call": seen, "answer": "confirmed"})
    by_link = Actor(practitioner=other.pk)
    assert code() == "not_found"
    third = name_practitioner(world.odile, new_id(world.now), "Dr Una Berg")
    entered(world, third, keeper("Una Berg"))
    free = endoscopy(world, animal, third)
    item = world.item("report_answered", animal.pk, {"call": free, "answer": "confirmed"})
    by_link = Actor(practitioner=third.pk)
    assert code() == "accepted"


def test_a_blind_guest_answers_after_their_own_check(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    visit = world.visit(vet, animal)
    body = {"call": call, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", animal, body) == "not_found"
    world.call(vet, animal, "male", visit=visit)
    checked = counting_calls(animal.pk)[1]
    assert not checked.blind, "a report of her own call is there for her to read"
    answer(world, vet, animal, call, "confirmed")
    assert evidence_of(counting_calls(animal.pk)[0]).report == "confirmed"


@pytest.mark.parametrize("passed", [0, 5])
def test_a_blind_guest_reads_no_report_and_answers_none_out_of_sight_of_it(
    world: World, named: Practitioner, vet: Keeper, passed: int
) -> None:
    """Their visit is to open yet, or is over, and the call may still be on their phone."""
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    assert [one.pk for one in reported_of(vet.pk, world.now)] == [UUID(call)]
    world.visit(vet, animal, ahead=1)
    world.pass_time(days=passed)
    assert reported_of(vet.pk, world.now) == []
    body = {"call": call, "answer": "confirmed"}
    assert refused(world, vet, "report_answered", animal, body) == "not_found"


@pytest.mark.parametrize("kind", ["document_read", "witness_stated"])
def test_somebody_without_a_share_confirms(world: World, kind: str) -> None:
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    body: dict[str, Any] = {"call": call}
    if kind == "document_read":
        animal = world.animal("R2")
        seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
        named = {"observed": seen, "document": DOCUMENT}
        made = world.call(world.odile, animal, "female", body=named)
        body = {"call": made.id, "document": DOCUMENT}
    world.make_partner(world.pim)
    assert refused(world, world.stan, kind, animal, body) == "not_found", "no access"
    assert refused(world, world.odile, kind, animal, body) == "not_allowed"
    assert refused(world, world.pim, kind, animal, body) == "not_allowed"
    visit = world.visit(world.greta, animal)
    assert refused(world, world.greta, kind, animal, body) == "not_found", "she is still blind"
    assert report(animal) == "unconfirmed"
    world.view(world.stan, animal)
    world.say(world.stan, kind, animal.pk, body)
    assert report(animal) == "confirmed"
    assert refused(world, world.stan, kind, animal, body) == "not_now"
    world.call(world.greta, animal, "female", visit=visit)
    world.say(world.greta, kind, animal.pk, body)


def test_a_buyer_confirms_nothing(world: World) -> None:
    """She has a share in it."""
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    world.view(world.stan, animal)
    sale = world.draft(animal, email=world.stan.email)
    world.offer(sale)
    assert refused(world, world.stan, "witness_stated", animal, {"call": call}) == "not_allowed"


def test_what_cannot_be_confirmed(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    world.view(world.stan, animal)
    probed = world.call(world.odile, animal, "male").id
    body = {"call": probed}
    assert refused(world, world.stan, "witness_stated", animal, body) == "not_now"
    told = endoscopy(world, animal, named, document=DOCUMENT)
    body = {"call": told}
    assert refused(world, world.stan, "witness_stated", animal, body) == "out_of_range"
    body = {"call": told, "document": "cd" * 32}
    assert refused(world, world.stan, "document_read", animal, body) == "out_of_range"
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": told})
    body = {"call": told, "document": DOCUMENT}
    assert refused(world, world.stan, "document_read", animal, body) == "not_now"


@pytest.mark.parametrize("seen", ["probing", "ultrasound"])
def test_only_eggs_slugs_and_young_have_witnesses(
    world: World, named: Practitioner, seen: str
) -> None:
    animal = world.animal("R1")
    world.view(world.stan, animal)
    observed = {"method": "ultrasound", "seen": "hemipenes"}
    if seen == "probing":
        observed = probing("male")["observed"]
    call = endoscopy(world, animal, named, observed=observed)
    body = {"call": call}
    assert refused(world, world.stan, "witness_stated", animal, body) == "out_of_range"


def test_a_reader_outweighs_no_denial(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named, document=DOCUMENT)
    entered(world, named, vet)
    answer(world, vet, animal, call, "denied")
    world.view(world.stan, animal)
    world.say(world.stan, "document_read", animal.pk, {"call": call, "document": DOCUMENT})
    assert report(animal) == "denied"


@pytest.mark.parametrize(
    ("version", "settling"),
    [
        ("sexing-1", ["own", "unconfirmed", "confirmed", "denied"]),
        ("sexing-2", ["own", "unconfirmed", "confirmed", "denied"]),
        ("sexing-3", ["own", "confirmed"]),
        ("sexing-4", ["own", "confirmed"]),
    ],
)
def test_what_settles_an_animal_for_examiners_records(
    world: World, version: str, settling: list[Report]
) -> None:
    eggs(world, world.odile, animal := world.animal("R1"))
    (call,) = counting_calls(animal.pk)
    every = [replace(evidence_of(call), report=one) for one in get_args(Report)]
    assert [one.report for one in every if settles(one, version)] == settling


def test_the_operator_enters_where_a_practice_is_asked(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    said = StringIO()
    call_command("enter_practice", str(named.pk), vet.email.title(), stdout=said)
    assert said.getvalue().startswith("Dr Ilse Brandt, named by Odile Marten, is asked at")
    answer(world, vet, animal, call, "confirmed")
    assert report(animal) == "confirmed"
    for who, email in ((str(named.pk), "not an address"), ("x", vet.email), (call, vet.email)):
        with pytest.raises(CommandError):
            call_command("enter_practice", who, email)


def test_no_address_enters_the_log_and_all_are_erased_with_the_name(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    entered(world, named, vet)
    answer(world, vet, animal, call, "confirmed")
    leaves = b"".join(bytes(one.leaf) for one in Entry.objects.all())
    assert vet.email.encode() not in leaves
    assert b"Brandt" not in leaves
    call_command("erase", "practitioner", str(named.pk), stdout=StringIO())
    assert not PractitionerAddress.objects.exists()
    assert report(animal) == "confirmed"


def test_replay_is_exact_with_every_kind_of_answer(
    world: World, named: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named, document=DOCUMENT)
    entered(world, named, vet)
    answer(world, vet, animal, call, "denied")
    eggs_seen = eggs(world, world.odile, animal)
    world.view(world.stan, animal)
    world.say(world.stan, "witness_stated", animal.pk, {"call": eggs_seen})
    answer(world, vet, animal, call, "confirmed")
    assert Replay().differences() == []
    retraced = Retraced(RulesAsOf(Rests()), since=0)
    about = Entry.objects.filter(about=animal.pk, kind__in=ABOUT_ANIMALS).order_by("position")
    assert list(retraced.over(about)) == []
    told = retraced._recomputing.past(animal.pk).evidence(set())
    assert [one.report for one in told] == ["confirmed", "confirmed"]
    assert told == [evidence_of(one) for one in counting_calls(animal.pk)]
    assert told == evidence_by_animal([animal.pk])[animal.pk]
