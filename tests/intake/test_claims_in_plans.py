"""Claims of traits that seasons were planned on: each plan is affected once, and who may hears."""

from uuid import UUID

import pytest
from django.core.management import call_command
from tests.families import Family, family, result_of
from tests.intake.test_claims import HET, disprove, het
from tests.intake.test_pairings import let_look, letters, plan
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import AffectedPlan
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.traits.models import ClaimChange

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def known(world: World) -> Family:
    """Of proved parents."""
    return family(world)


@told_once
def stans(world: World) -> Animal:
    """A female that Stan keeps, and lets Odile see."""
    room = create_collection(world.stan, new_id(world.now), "Stan's shelf", world.now)
    let_look(world, world.odile, room)
    return world.animal("S-1", room=room)


def affected() -> list[tuple[UUID, int, str, int]]:
    rows = AffectedPlan.objects.order_by("position")
    return [(one.collection_id, one.season, one.change, len(one.pairings)) for one in rows]


def test_it_is_affected_in_the_transaction_of_the_fact_that_disproved_it(
    world: World, known: Family
) -> None:
    """Once a season for all its pairings, whatever else falls of other animals."""
    claim = het(world, known.young)
    for tag in ("F1", "F2"):
        plan(world, world.odile, known.young, world.animal(tag))
    plan(world, world.odile, known.young, world.animal("F3"), season=2028)
    _, second = disprove(world, known)
    own = world.collection.pk
    assert affected() == [(own, 2027, "fell", 2), (own, 2028, "fell", 1)]
    first, _ = AffectedPlan.objects.order_by("position")
    assert (first.animal, str(first.cause)) == (known.young.pk, second)
    fell = ClaimChange.objects.get()
    assert first.position == fell.position + 1
    entry = Entry.objects.get(position=first.position)
    assert claim.encode() in bytes(entry.leaf), "it says which claim"
    (letter,) = letters(world.odile)
    text = str(compose(letter).body)
    assert "Claimed  carries one copy" in text
    assert "true with a chance of 0.4 in 100" in text
    assert f"/collections/{own}/seasons/2027" in text
    assert f"/collections/{own}/seasons/2028" in text
    assert "verif" not in text, "of its sex nothing changed"
    result_of(world, known.dam, "carries_none", "piebald")
    assert len(affected()) == len(letters(world.odile)) + 1 == 2, "once for a fall"
    assert call_command("fsck") is None


def test_that_it_stands_again_is_told_and_so_is_a_withdrawal(world: World, known: Family) -> None:
    """Who takes a claim back that stood tells those who planned on it, and not themselves."""
    world.make_partner(world.pim)
    claim = het(world, known.young)
    plan(world, world.odile, known.young, world.animal("F1"))
    sire, _ = disprove(world, known)
    world.pass_time(days=1)
    world.say(world.odile, "trait_withdrawn", known.sire.pk, {"stated": sire})
    world.pass_time(days=1)
    world.say(world.odile, "trait_withdrawn", known.young.pk, {"stated": claim})
    assert [change for _, _, change, _ in affected()] == ["fell", "restored", "withdrawn"]
    (his,) = letters(world.pim)[-1:]
    assert "withdrawn by whoever stated it" in str(compose(his).body)
    assert [one.context["becomes"][:10] for one in letters(world.odile)] == [
        "true with ",
        "stands aga",
    ]
    assert call_command("fsck") is None


def test_a_claim_taken_back_once_it_fell_is_no_news(world: World, known: Family) -> None:
    claim = het(world, known.young)
    plan(world, world.odile, known.young, world.animal("F1"))
    disprove(world, known)
    world.say(world.odile, "trait_withdrawn", known.young.pk, {"stated": claim})
    assert [change for _, _, change, _ in affected()] == ["fell"]


def test_without_a_planned_pairing_there_is_none(world: World, known: Family) -> None:
    het(world, known.young)
    pairing = plan(world, world.odile, known.young, world.animal("F1"))
    world.say(world.odile, "pairing_dropped", pairing)
    disprove(world, known)
    assert affected() == []
    assert not Letter.objects.filter(kind="pairing_affected").exists()


@pytest.mark.parametrize("says", ["may_carry", "words", "stranger"])
def test_what_could_not_fall_affects_no_plan_when_it_is_taken_back(
    world: World, known: Family, says: str
) -> None:
    """Nor does the word of a stranger, who could else write to a keeper by saying and unsaying."""
    who, body, texts = world.odile, dict(HET), {}
    if says == "may_carry":
        body |= {"says": "may_carry", "chance": "0.660000"}
    elif says == "words":
        body, texts = {"says": "carries_one", "basis": "claimed"}, {"words": "a rare one"}
    else:
        who = world.greta
        world.view(who, known.young)
    plan(world, world.odile, known.young, world.animal("F1"))
    stated = world.say(who, "trait_stated", known.young.pk, body, texts=texts).id
    world.say(who, "trait_withdrawn", known.young.pk, {"stated": stated})
    assert affected() == []
    assert not Letter.objects.filter(kind="pairing_affected").exists()


@pytest.mark.parametrize("blind", [True, False])
def test_whoever_is_to_check_the_mate_blind_hears_of_no_pairing(
    world: World, known: Family, stans: Animal, blind: bool
) -> None:
    """Stan keeps the animal by now, and is Odile's guest for its mate: a letter would tell him
    what that is taken for."""
    het(world, known.young)
    room, mate = stans.collection, world.animal("F1")
    given = {"to": str(world.odile.pk), "role": "partner"}
    world.say(world.stan, "grant_given", room.pk, given)
    world.say(world.odile, "custody_changed", known.young.pk, {"to": str(room.pk), "why": "given"})
    if blind:
        world.visit(world.stan, mate, days=60)
    plan(world, world.odile, known.young, mate)
    disprove(world, known)
    assert {change for _, _, change, _ in affected()} == {"fell"}
    assert len(letters(world.stan)) == (0 if blind else 1)
    assert len(letters(world.odile)) == 1


@pytest.mark.parametrize("sees", ["whole", "blind", "nothing"])
def test_whoever_keeps_the_mate_hears_of_it_only_if_they_see_the_animal(
    world: World, known: Family, stans: Animal, sees: str
) -> None:
    """His season is affected whatever he sees, as a fact that he may not read."""
    het(world, known.young)
    plan(world, world.odile, known.young, stans)
    if sees == "whole":
        world.view(world.stan, known.young)
    elif sees == "blind":
        world.visit(world.stan, known.young, days=60)
    disprove(world, known)
    assert {room for room, *_ in affected()} == {world.collection.pk, stans.collection_id}
    assert len(letters(world.odile)) == 1
    assert len(letters(world.stan)) == (1 if sees == "whole" else 0)
