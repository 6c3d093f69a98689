"""Planned pairings: who may plan one, and who hears when what it rests on moves."""

from uuid import UUID

import pytest
from tests.intake.test_sales import contrary, refused
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import AffectedPlan
from scalewitness.breeding.queries.pairings import animals_paired, pairings_seen
from scalewitness.domain.errors import NotFound, Refused
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.receipts.queries import entry_seen

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def plan(world: World, who: Keeper, sire: Animal, dam: Animal, season: int = 2027) -> UUID:
    pairing = new_id(world.now)
    body = {"sire": str(sire.pk), "dam": str(dam.pk), "season": season}
    world.say(who, "pairing_planned", pairing, body)
    return pairing


@told_once
def stans(world: World) -> Animal:
    """A female that Stan keeps."""
    room = create_collection(world.stan, new_id(world.now), "Stan's shelf", world.now)
    return world.animal("S-1", room=room)


def let_look(world: World, who: Keeper, collection: Collection) -> UUID:
    given = {"to": str(who.pk), "role": "viewer"}
    return UUID(world.say(collection.keeper, "grant_given", collection.pk, given).id)


def letters(to: Keeper) -> list[Letter]:
    found = Letter.objects.filter(kind="pairing_affected", to=to.email)
    return list(found.order_by("created_at"))


# --- planning ---------------------------------------------------------------------------


def test_a_keeper_plans_with_animals_of_their_own(world: World) -> None:
    sire, dam = world.animal("M1"), world.animal("F1")
    pairing = plan(world, world.odile, sire, dam)
    (seen,) = pairings_seen(world.odile.pk, world.now)
    assert (seen.pairing.pk, seen.sire, seen.dam) == (pairing, sire, dam)
    assert animals_paired([sire.pk, world.animal("X").pk]) == {sire.pk: 1}


def test_the_same_pairing_is_planned_once_a_season(world: World) -> None:
    sire, dam = world.animal("M1"), world.animal("F1")
    first = plan(world, world.odile, sire, dam)
    with pytest.raises(Refused) as error:
        plan(world, world.odile, sire, dam)
    assert refused(error) == "not_now"
    plan(world, world.odile, sire, dam, season=2028)
    world.say(world.odile, "pairing_dropped", first)
    plan(world, world.odile, sire, dam)


def test_a_dropped_pairing_is_gone_and_stays_dropped(world: World) -> None:
    pairing = plan(world, world.odile, world.animal("M1"), world.animal("F1"))
    world.make_partner(world.pim)
    world.say(world.pim, "pairing_dropped", pairing)
    assert pairings_seen(world.odile.pk, world.now) == []
    with pytest.raises(Refused) as error:
        world.say(world.odile, "pairing_dropped", pairing)
    assert refused(error) == "not_now"


def test_nobody_plans_with_what_they_do_not_see(world: World, stans: Animal) -> None:
    own = world.animal("M1")
    for who in (world.odile, world.stan):
        with pytest.raises(Refused) as error:
            plan(world, who, own, stans)
        assert refused(error) == "not_found"


def test_whoever_sees_both_and_keeps_neither_plans_nothing(world: World, stans: Animal) -> None:
    own = world.animal("M1")
    let_look(world, world.greta, world.collection)
    let_look(world, world.greta, stans.collection)
    with pytest.raises(Refused) as error:
        plan(world, world.greta, own, stans)
    assert refused(error) == "not_found"


def test_a_blind_guest_plans_nothing_and_sees_no_pairing(world: World, stans: Animal) -> None:
    """A pairing says what each animal is taken for."""
    own = world.animal("M1")
    let_look(world, world.odile, stans.collection)
    visit = world.visit(world.stan, own)
    with pytest.raises(Refused) as error:
        plan(world, world.stan, own, stans)
    assert refused(error) == "not_found"
    plan(world, world.odile, own, stans)
    assert pairings_seen(world.stan.pk, world.now) == []
    world.call(world.stan, own, "male", visit=visit)
    (seen,) = pairings_seen(world.stan.pk, world.now)
    assert seen.sire == own


def test_an_animal_is_not_paired_with_itself(world: World) -> None:
    own = world.animal("M1")
    with pytest.raises(Refused) as error:
        plan(world, world.odile, own, own)
    assert refused(error) == "out_of_range"


# --- who hears --------------------------------------------------------------------------


def test_the_keepers_of_both_hear_that_a_verified_sex_fell(world: World, stans: Animal) -> None:
    own = world.verified("V1")
    let_look(world, world.stan, own.collection)
    let_look(world, world.odile, stans.collection)
    plan(world, world.stan, own, stans)
    world.pass_time(days=1)
    contrary(world, own)
    (hers,), (his,) = letters(world.odile), letters(world.stan)
    assert hers.context["pairings"] == his.context["pairings"]
    (one,) = his.context["pairings"]
    assert (one["sex"], one["change"], one["season"]) == ("male", "fell", 2027)
    assert his.context["animal"]["id"] == str(own.pk)
    assert "V1" in str(compose(his).body)


def test_whoever_may_not_see_the_animal_now_hears_no_more_than_that(
    world: World, stans: Animal
) -> None:
    own = world.verified("V1")
    grant = let_look(world, world.stan, own.collection)
    plan(world, world.stan, own, stans)
    world.say(world.odile, "grant_revoked", own.collection_id, {"grant": str(grant)})
    world.pass_time(days=1)
    contrary(world, own)
    (his,) = letters(world.stan)
    text = str(compose(his).body)
    assert "V1" not in text
    assert "contested" not in text
    assert str(own.pk) not in text
    assert "an animal that you may not see" in text.replace("\n", " ")
    assert "S-1" in text
    (hers,) = letters(world.odile)
    assert hers.context["pairings"][0]["mate"] is None, "she was never let in to see his"


def test_whoever_is_still_to_check_it_blind_hears_nothing(world: World, stans: Animal) -> None:
    own = world.verified("V1")
    let_look(world, world.odile, stans.collection)
    plan(world, world.odile, own, stans)
    world.visit(world.stan, own)
    world.pass_time(days=1)
    contrary(world, own)
    assert letters(world.stan) == []
    assert len(letters(world.odile)) == 1


def test_one_letter_for_all_pairings_of_an_animal(world: World) -> None:
    own = world.verified("V1")
    for tag in ("F1", "F2", "F3"):
        plan(world, world.odile, own, world.animal(tag))
    world.pass_time(days=1)
    contrary(world, own)
    (letter,) = letters(world.odile)
    assert len(letter.context["pairings"]) == 3


def test_a_dropped_pairing_is_nobodys_news(world: World, stans: Animal) -> None:
    own = world.verified("V1")
    let_look(world, world.odile, stans.collection)
    pairing = plan(world, world.odile, own, stans)
    world.say(world.stan, "pairing_dropped", pairing)
    world.pass_time(days=1)
    contrary(world, own)
    assert not Letter.objects.filter(kind="pairing_affected").exists()


def test_a_sex_restored_is_told_to_whoever_planned_on_it(world: World) -> None:
    own = world.verified("V1")
    plan(world, world.odile, own, world.animal("F1"))
    world.pass_time(days=1)
    contrary(world, own)
    for number in range(6):
        if world.label(own) == "verified male":
            break
        world.pass_time(days=1)
        guest = keeper(f"Later guest {number}")
        world.call(guest, own, "male", visit=world.visit(guest, own))
    assert world.label(own) == "verified male"
    changes = [one.context["pairings"][0]["change"] for one in letters(world.odile)]
    assert changes == ["fell", "restored"]


def test_a_plan_on_what_was_never_verified_hears_of_the_other_sex_only(world: World) -> None:
    own, mate = world.animal("M1"), world.animal("F1")
    world.call(world.odile, own, "male")
    plan(world, world.odile, own, mate)
    assert not letters(world.odile)
    for number in range(8):
        world.pass_time(days=1)
        guest = keeper(f"Guest {number}") if number else world.fenna
        world.call(guest, own, "female", visit=world.visit(guest, own))
        if world.label(own) == "verified female":
            break
    assert world.label(own) == "verified female"
    (letter,) = letters(world.odile)
    assert letter.context["pairings"][0]["change"] == "reversed"


def test_what_was_planned_on_and_is_verified_at_last_is_no_news(world: World) -> None:
    own, mate = world.animal("M1"), world.animal("F1")
    plan(world, world.odile, own, mate)
    for number in range(6):
        world.pass_time(days=1)
        guest = keeper(f"Guest {number}") if number else world.fenna
        world.call(guest, own, "male", visit=world.visit(guest, own))
    assert world.label(own) == "verified male"
    assert letters(world.odile) == []


def test_falls_within_one_push_are_each_told(world: World) -> None:
    """What an earlier item of a push brought about counts for the later ones."""
    own = world.verified("V1")
    plan(world, world.odile, own, world.animal("F1"))
    world.pass_time(days=1)
    visit = world.visit(world.greta, own)
    body = probing("female", "V1") | {"visit": str(visit)}
    call = world.item("call_made", own.pk, body)
    back = world.item("call_withdrawn", own.pk, {"call": call["id"]})
    outcomes = world.push(world.greta, call, back)
    assert [one.status for one in outcomes] == ["accepted", "accepted"]
    assert world.label(own) == "verified male"
    changes = {one.context["pairings"][0]["change"] for one in letters(world.odile)}
    assert changes == {"fell", "restored"}


def test_whoever_was_told_by_a_pairing_examines_no_more_blind(world: World, stans: Animal) -> None:
    """Also where the pairing is dropped, and they could never see the animal."""
    own = world.animal("M1")
    let_look(world, world.odile, stans.collection)
    pairing = plan(world, world.odile, own, stans)
    world.say(world.odile, "pairing_dropped", pairing)
    for guest in (world.stan, world.greta):
        world.call(guest, own, "male", visit=world.visit(guest, own))
    blind = dict(own.calls.values_list("by", "blind"))
    assert blind == {world.stan.pk: False, world.greta.pk: True}


# --- who reads of it --------------------------------------------------------------------


def test_only_whoever_keeps_both_reads_of_a_pairing_said_by_another(
    world: World, stans: Animal
) -> None:
    """It tells what each of the two is taken for: keeping the one does not open the other."""
    let_look(world, world.odile, stans.collection)
    world.make_partner(world.pim)
    pairing = plan(world, world.odile, world.animal("M1"), stans)
    fact = Entry.objects.get(about=pairing).fact
    both = keeper("Berta Both")
    for room in (world.collection, stans.collection):
        given = {"to": str(both.pk), "role": "partner"}
        world.say(room.keeper, "grant_given", room.pk, given)
    may = {"odile": world.odile, "both": both}
    may_not = {"pim": world.pim, "stan": world.stan, "greta": world.greta}
    assert {name for name, who in (may | may_not).items() if _reads(who, fact, world)} == set(may)


def _reads(who: Keeper, fact: UUID, world: World) -> bool:
    try:
        return entry_seen(who.pk, fact, world.now).fact == fact
    except NotFound:
        return False


# --- the plan of a season ---------------------------------------------------------------


def affected(world: World, collection: Collection) -> list[tuple[int, str, int]]:
    rows = AffectedPlan.objects.filter(collection=collection).order_by("position")
    return [(one.season, one.change, len(one.pairings)) for one in rows]


def test_each_season_that_rests_on_it_is_affected_once_for_one_cause(
    world: World, stans: Animal
) -> None:
    own = world.verified("V1")
    let_look(world, world.odile, stans.collection)
    for tag in ("F1", "F2"):
        plan(world, world.odile, own, world.animal(tag))
    plan(world, world.odile, own, stans, season=2028)
    world.pass_time(days=1)
    contrary(world, own)
    assert affected(world, world.collection) == [(2027, "fell", 2), (2028, "fell", 1)]
    assert affected(world, stans.collection) == [(2028, "fell", 1)]
    causes = set(AffectedPlan.objects.values_list("cause", flat=True))
    call = own.calls.order_by("-position")[0]
    assert causes == {call.pk}, "the check that brought it about, in its transaction"
    (hers,), (his,) = letters(world.odile), letters(world.stan)
    plans = [(one["season"], one["collection"]) for one in hers.context["plans"]]
    assert plans == [(2027, str(world.collection.pk)), (2028, str(world.collection.pk))]
    assert [one["collection"] for one in his.context["plans"]] == [str(stans.collection_id)]


def test_who_reads_that_a_plan_is_affected(world: World, stans: Animal) -> None:
    """It tells that the animal's sex changed: keeping the mate does not open that."""
    own = world.verified("V1")
    let_look(world, world.odile, stans.collection)
    plan(world, world.odile, own, stans)
    world.pass_time(days=1)
    contrary(world, own)
    facts = {one.collection_id: one.pk for one in AffectedPlan.objects.all()}
    assert _reads(world.odile, facts[own.collection_id], world)
    assert not _reads(world.odile, facts[stans.collection_id], world)
    assert not _reads(world.stan, facts[stans.collection_id], world)
    let_look(world, world.stan, own.collection)
    assert _reads(world.stan, facts[stans.collection_id], world)
    assert not _reads(world.greta, facts[own.collection_id], world)


def test_a_probable_sex_that_turns_affects_the_plan_and_so_does_its_end(world: World) -> None:
    own = world.animal("M1")
    world.call(world.odile, own, "male")
    plan(world, world.odile, own, world.animal("F1"))
    said = [world.call(world.odile, own, "female", at=world.now) for _ in range(3)]
    while world.label(own) != "probable female":
        world.pass_time(days=1)
        guest = keeper(f"Guest of day {world.now.day}")
        said.append(world.call(guest, own, "female", visit=world.visit(guest, own)))
    assert affected(world, world.collection)[-1] == (2027, "turned", 1)
    assert "speaks for the other sex" in str(compose(letters(world.odile)[-1]).body)


# --- both keepers agree -----------------------------------------------------------------


def awaited(world: World, who: Keeper) -> set[str]:
    (seen,) = pairings_seen(who.pk, world.now)
    return set(seen.awaits)


def test_a_pairing_of_two_keepers_is_agreed_once_both_said_so(world: World, stans: Animal) -> None:
    own = world.animal("M1")
    let_look(world, world.odile, stans.collection)
    pairing = plan(world, world.odile, own, stans)
    assert awaited(world, world.odile) == {"other"}
    assert awaited(world, world.stan) == {"own"}
    with pytest.raises(Refused) as error:
        world.say(world.stan, "pairing_agreed", pairing)
    assert refused(error) == "not_now", "he does not see hers, and agrees to no animal unseen"
    world.view(world.stan, own)
    for who in (world.odile, world.greta):
        with pytest.raises(Refused) as error:
            world.say(who, "pairing_agreed", pairing)
        assert refused(error) == ("not_now" if who == world.odile else "not_found")
    world.say(world.stan, "pairing_agreed", pairing)
    assert awaited(world, world.odile) == awaited(world, world.stan) == set()
    with pytest.raises(Refused):
        world.say(world.stan, "pairing_agreed", pairing)
    world.say(world.stan, "pairing_dropped", pairing)
    with pytest.raises(Refused):
        world.say(world.stan, "pairing_agreed", pairing)


def test_a_partners_word_counts_while_they_are_one(world: World, stans: Animal) -> None:
    own = world.animal("M1")
    let_look(world, world.odile, stans.collection)
    given = {"to": str(world.pim.pk), "role": "partner"}
    grant = world.say(world.stan, "grant_given", stans.collection_id, given).id
    world.view(world.pim, own)
    pairing = plan(world, world.odile, own, stans)
    world.say(world.pim, "pairing_agreed", pairing)
    assert awaited(world, world.odile) == set()
    world.say(world.stan, "grant_revoked", stans.collection_id, {"grant": grant})
    assert awaited(world, world.odile) == {"other"}


def test_a_blind_guest_agrees_to_nothing_and_learns_nothing(world: World, stans: Animal) -> None:
    own = world.animal("M1")
    let_look(world, world.odile, stans.collection)
    pairing = plan(world, world.odile, own, stans)
    world.visit(world.stan, own)
    for about in (pairing, new_id(world.now)):
        with pytest.raises(Refused) as error:
            world.say(world.stan, "pairing_agreed", about)
        assert refused(error) == "not_found"
