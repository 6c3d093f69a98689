"""An account that two unconnected keepers confirm as a practice's confirms what it is named in."""

from collections.abc import Callable

import pytest
from tests.intake.test_joining import join
from tests.intake.test_known_elsewhere import NUMBER, Two, two
from tests.intake.test_reports import answer, endoscopy, entered, report
from tests.intake.test_reports_reopened import found_to_deceive, holds_together
from tests.pages.browser import Browser
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing, tag_of, vouched

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.api.shapes.reports import reports
from scalewitness.calls.queries.reports import reported_of
from scalewitness.domain.errors import Refused
from scalewitness.domain.vouching import AS
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper
from scalewitness.people.services import name_practitioner
from scalewitness.standings.queries.due import due
from scalewitness.standings.queries.footing import footing_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
__all__ = ["two"]
VET = {"practice": "veterinarian"}


@told_once
def vet(world: World) -> Keeper:
    return keeper("Ilse Brandt")


@told_once
def reported(world: World, vet: Keeper) -> tuple[Animal, str]:
    """Odile says that the vet, at an address that she gave herself, saw testes."""
    animal = world.animal("R1")
    named = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    entered(world, named, vet, by=world.odile)
    read = {"by": "transponder", "code": world.chip(animal)}
    return animal, endoscopy(world, animal, named, identified=read)


def confirm(world: World, vet: Keeper, *people: Keeper, **more: object) -> None:
    for who in people:
        world.say(who, "keeper_vouched", vet.pk, VET | more)


def outcome(world: World, vet: Keeper, reported: tuple[Animal, str]) -> tuple[str, str]:
    animal, call = reported
    (shown,) = reports(reported_of(vet.pk, world.now), vet.pk)
    answer(world, vet, animal, call, "confirmed")
    found = report(animal)
    assert shown.confirms is (found == "confirmed"), "they are told so before they answer"
    return found, world.label(animal)


def test_two_unconnected_keepers_make_its_answer_count(
    world: World, vet: Keeper, reported: tuple[Animal, str]
) -> None:
    confirm(world, vet, world.stan, world.fenna)
    assert footing_of(vet.pk) == "none", "nobody vouches for her as an examiner"
    assert outcome(world, vet, reported) == ("confirmed", "verified male")
    holds_together()


def of_one(world: World, vet: Keeper) -> None:
    confirm(world, vet, world.stan)


def of_the_sender(world: World, vet: Keeper) -> None:
    confirm(world, vet, world.stan, world.odile)


def of_her_partner(world: World, vet: Keeper) -> None:
    world.make_partner(world.pim)
    confirm(world, vet, world.stan, world.pim)


def of_a_buyer_of_hers(world: World, vet: Keeper) -> None:
    sale = world.draft(world.verified("V1"), email=world.fenna.email)
    world.offer(sale)
    confirm(world, vet, world.stan, world.fenna)


def of_whom_she_vouches_for(world: World, vet: Keeper) -> None:
    world.say(world.odile, "keeper_vouched", world.fenna.pk, {})
    confirm(world, vet, world.stan, world.fenna)


def of_another_trade(world: World, vet: Keeper) -> None:
    confirm(world, vet, world.stan, world.fenna, practice="laboratory")


def of_one_who_withdrew(world: World, vet: Keeper) -> None:
    confirm(world, vet, world.stan, world.fenna)
    confirm(world, vet, world.fenna, vouches=False)


def of_examiners_alone(world: World, vet: Keeper) -> None:
    vouched(vet, world.now)


@pytest.mark.parametrize(
    "said",
    [
        of_one,
        of_the_sender,
        of_her_partner,
        of_a_buyer_of_hers,
        of_whom_she_vouches_for,
        of_another_trade,
        of_one_who_withdrew,
        of_examiners_alone,
    ],
)
def test_it_stays_the_sender_s_word_by_that(
    world: World,
    vet: Keeper,
    reported: tuple[Animal, str],
    said: Callable[[World, Keeper], None],
) -> None:
    said(world, vet)
    assert outcome(world, vet, reported)[0] == "unconfirmed"
    assert not world.label(reported[0]).startswith("verified")


@pytest.mark.parametrize("who", ["keeper", "partner", "one who kept it"])
def test_whoever_gains_has_no_voice_where_a_guest_sends_the_report(
    world: World, vet: Keeper, who: str
) -> None:
    """Nothing ties Greta, who sends it, to Odile, or either to the practice."""
    animal = world.animal("R1")
    visit = world.visit(world.greta, animal, blind=False)
    named = name_practitioner(world.greta, new_id(world.now), "Dr Ilse Brandt")
    entered(world, named, vet, by=world.greta)
    body = probing("male", tag_of(animal)) | {"visit": str(visit)}
    body |= {"observed": {"method": "endoscopy", "seen": "testes"}}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    call = world.say(world.greta, "call_made", animal.pk, body).id
    gains = world.odile
    if who == "partner":
        world.make_partner(gains := world.pim)
    if who == "one who kept it":
        room = create_collection(world.stan, new_id(world.now), "Elsewhere", world.now)
        give = {"to": str(world.odile.pk), "role": "partner"}
        world.say(world.stan, "grant_given", room.pk, give)
        moved = {"to": str(room.pk), "why": "given"}
        world.say(world.odile, "custody_changed", animal.pk, moved)
    confirm(world, vet, world.fenna, gains)
    (shown,) = reports(reported_of(vet.pk, world.now), vet.pk)
    answer(world, vet, animal, str(call), "confirmed")
    assert (shown.confirms, report(animal)) == (False, "unconfirmed")


@pytest.mark.parametrize("joined", [False, True])
def test_nor_has_who_keeps_another_record_of_the_same_snake(
    two: Two, vet: Keeper, joined: bool
) -> None:
    world, animal = two.world, two.older
    named = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    entered(world, named, vet, by=world.odile)
    call = endoscopy(world, animal, named, identified={"by": "transponder", "code": NUMBER})
    two.give()
    if joined:
        join(two)
    confirm(world, vet, world.stan, world.fenna)
    shown = reports(reported_of(vet.pk, world.now), vet.pk)
    assert [one.confirms for one in shown if str(one.call) == call] == [not joined]


def test_a_seller_with_free_accounts_confirms_no_third_as_a_practice(
    world: World, vet: Keeper, reported: tuple[Animal, str]
) -> None:
    """Neither fresh ones, nor such as others vouch for."""
    for who in (keeper("New"), vouched(keeper("Friend"), world.now)):
        with pytest.raises(Refused, match="Only founders"):
            world.say(who, "keeper_vouched", vet.pk, VET)
    assert outcome(world, vet, reported)[0] == "unconfirmed"


def test_what_it_confirmed_stands_when_one_withdraws_and_falls_when_one_deceived(
    world: World, vet: Keeper, reported: tuple[Animal, str]
) -> None:
    animal, _ = reported
    confirm(world, vet, world.greta, world.fenna)
    assert outcome(world, vet, reported) == ("confirmed", "verified male")
    confirm(world, vet, world.fenna, vouches=False)
    assert (due(), world.label(animal)) == ([], "verified male")
    confirm(world, vet, world.fenna)
    other = world.animal("O1")
    world.call(world.greta, other, "male", visit=world.visit(world.greta, other))
    found_to_deceive(world, world.greta, other)
    assert (due(), world.label(animal)) == ([], "probable male")
    holds_together()


def test_it_is_stated_on_a_page_and_each_kind_by_itself(world: World, vet: Keeper) -> None:
    stan = Browser(world.stan)
    for practice in ("veterinarian", ""):
        sent = stan.fill("/account/vouching", email=vet.email, practice=practice, vouches="yes")
        assert sent.goes_to == "/account/vouching"
    shown = stan.open("/account/vouching").text
    assert all(f"{vet.name}, {AS[one]}" in shown for one in ("veterinarian", ""))
    stated = Entry.objects.filter(kind="keeper_vouched", about=vet.pk)
    assert stated.count() == 2
