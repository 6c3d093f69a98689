"""The season as it happens: who may note what of a pairing, and who withdraws it."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_pairings import let_look
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import SeasonNote
from scalewitness.domain.errors import NotFound
from scalewitness.intake.outcomes import Outcome
from scalewitness.people.models import Keeper
from scalewitness.receipts.queries import entry_seen

pytestmark = pytest.mark.one_in(4)


@pytest.fixture
def terrace(world: World) -> Collection:
    """Stan's own collection."""
    return create_collection(world.stan, new_id(world.now), "Terrace", world.now)


def paired(world: World, sire: Animal, dam: Animal, season: int = 2027) -> UUID:
    pairing = new_id(world.now)
    body = {"sire": str(sire.pk), "dam": str(dam.pk), "season": season}
    planned = world.say(world.odile, "pairing_planned", pairing, body)
    assert planned.status == "accepted", planned.problem
    return pairing


def note(world: World, who: Keeper, pairing: UUID, what: str = "laid", **more: Any) -> Outcome:
    body = {"what": what, "on": str(more.pop("on", world.now.date())), **more}
    return world.push(who, world.item("season_noted", pairing, body))[0]


def withdraw(world: World, who: Keeper, pairing: UUID, noted: Outcome) -> Outcome:
    body = {"noted": noted.id}
    return world.push(who, world.item("season_note_withdrawn", pairing, body))[0]


def refusal(outcome: Outcome) -> tuple[str, str]:
    assert outcome.problem is not None, "it was accepted"
    pointers = [one["pointer"] for one in outcome.problem.get("errors", ())]
    return outcome.problem["code"], "".join(pointers)


def stands(pairing: UUID) -> list[tuple[str, UUID]]:
    rows = SeasonNote.objects.filter(pairing=pairing, end=None).order_by("position")
    return list(rows.values_list("what", "by"))


def test_keeper_and_partner_note_what_they_saw(world: World) -> None:
    world.make_partner(world.pim)
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    assert note(world, world.odile, pairing, "put_together").status == "accepted"
    noted = note(world, world.pim, pairing, good=6, slugs=1)
    assert noted.status == "accepted"
    row = SeasonNote.objects.get(pk=noted.id)
    assert (row.by, row.on, row.counted) == (
        world.pim.pk,
        world.now.date(),
        {"good": 6, "slugs": 1},
    )
    assert stands(pairing) == [("put_together", world.odile.pk), ("laid", world.pim.pk)]


def test_both_keepers_note_the_same_laying_and_each_only_once(
    world: World, terrace: Collection
) -> None:
    own, his = world.animal("M1"), world.animal("F1", room=terrace)
    let_look(world, world.odile, terrace)
    pairing = paired(world, own, his)
    assert note(world, world.odile, pairing, good=6).status == "accepted"
    assert note(world, world.stan, pairing, good=7).status == "accepted"
    again = note(world, world.odile, pairing, good=7)
    assert refusal(again)[0] == "not_now"
    assert len(stands(pairing)) == 2


def test_one_fact_sent_twice_is_one_note(world: World) -> None:
    """As an offline phone does that never got the answer."""
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    body = {"what": "seen_together", "on": str(world.now.date())}
    item = world.item("season_noted", pairing, body)
    assert [world.push(world.odile, item)[0].status for _ in range(2)] == ["accepted", "duplicate"]
    assert len(stands(pairing)) == 1


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"on": "2026-11-03"}, "future_date", "/body/on"),
        ({"on": "2025-12-31"}, "out_of_range", "/body/on"),
        ({"on": "2027-02-29"}, "out_of_range", "/body/on"),
        ({"on": "2026-06-01"}, "out_of_range", "/body/on"),
        ({"what": "laid", "young": 3}, "out_of_range", "/body/young"),
        ({"what": "apart", "good": 3}, "out_of_range", "/body/good"),
        ({"what": "laid", "good": 201}, "wrong_shape", "/body/good"),
        ({"what": "mated"}, "wrong_shape", "/body/what"),
        ({"what": "incubating", "celsius": "88"}, "wrong_shape", "/body/celsius"),
    ],
)
def test_what_cannot_be_of_that_season_is_refused_where_it_stands(
    world: World, body: dict[str, Any], code: str, pointer: str
) -> None:
    """The wrong year, a day to come, a day before one of the two hatched."""
    pairing = paired(world, world.animal("M1", hatched="2026-06-01"), world.animal("F1"))
    assert refusal(note(world, world.odile, pairing, **body)) == (code, pointer)


def test_the_day_may_be_tomorrow_by_the_records_clock_and_before_the_plan(world: World) -> None:
    """A keeper east of Greenwich is a day ahead in the evening, and a pairing is often stated when
    the two were seen together already."""
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    today = world.now.date()
    for on in (today + timedelta(days=1), today - timedelta(days=20), date(2026, 1, 1)):
        assert note(world, world.odile, pairing, "seen_together", on=on).status == "accepted"


def test_a_leap_day_is_a_day(world: World) -> None:
    pairing = paired(world, world.animal("M1"), world.animal("F1"), season=2028)
    world.pass_time(days=500)
    assert note(world, world.odile, pairing, on="2028-02-29").status == "accepted"


def test_nobody_else_can_note_and_a_strange_pairing_looks_like_none(world: World) -> None:
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    unknown = refusal(note(world, world.odile, new_id(world.now)))
    assert refusal(note(world, world.stan, pairing)) == unknown
    world.view(world.stan, world.animal("F2"))
    assert refusal(note(world, world.stan, pairing)) == unknown


def test_whoever_is_to_check_one_of_them_blind_is_told_of_no_pairing(
    world: World, terrace: Collection
) -> None:
    """Though the other one is their own."""
    own, his = world.animal("M1"), world.animal("F1", room=terrace)
    let_look(world, world.odile, terrace)
    pairing = paired(world, own, his)
    unknown = refusal(note(world, world.stan, new_id(world.now)))
    world.visit(world.stan, own)
    assert refusal(note(world, world.stan, pairing)) == unknown
    assert note(world, world.odile, pairing).status == "accepted"


def test_of_a_dropped_pairing_nothing_more_is_noted(world: World) -> None:
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    world.say(world.odile, "pairing_dropped", pairing)
    assert refusal(note(world, world.odile, pairing))[0] == "not_now"


def test_a_dam_whose_mate_died_still_lays(world: World) -> None:
    own, mate = world.animal("M1"), world.animal("F1")
    pairing = paired(world, own, mate)
    world.say(world.odile, "animal_ended", own.pk, {"why": "died"})
    assert note(world, world.odile, pairing, good=5).status == "accepted"


# --- withdrawing ------------------------------------------------------------------------


def test_whoever_noted_it_withdraws_it_once_and_may_note_it_right(world: World) -> None:
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    wrong = note(world, world.odile, pairing, good=60)
    assert withdraw(world, world.odile, pairing, wrong).status == "accepted"
    assert refusal(withdraw(world, world.odile, pairing, wrong))[0] == "not_now"
    assert note(world, world.odile, pairing, good=6).status == "accepted"
    assert SeasonNote.objects.get(pairing=pairing, end=None).counted == {"good": 6}


def test_of_another_keepers_note_only_the_own_word_until_they_hold_neither_any_more(
    world: World,
) -> None:
    grant = world.make_partner(world.pim)
    pairing = paired(world, world.animal("M1"), world.animal("F1"))
    wrong = note(world, world.pim, pairing, good=60)
    assert refusal(withdraw(world, world.odile, pairing, wrong))[0] == "not_now"
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    assert refusal(withdraw(world, world.pim, pairing, wrong))[0] == "not_found"
    assert refusal(note(world, world.pim, pairing))[0] == "not_found"
    assert withdraw(world, world.odile, pairing, wrong).status == "accepted"


def test_a_note_is_withdrawn_of_its_own_pairing_only(world: World) -> None:
    sire = world.animal("M1")
    first, second = (paired(world, sire, world.animal(tag)) for tag in ("F1", "F2"))
    noted = note(world, world.odile, first)
    assert refusal(withdraw(world, world.odile, second, noted)) == ("not_found", "/body/noted")


# --- who reads of it --------------------------------------------------------------------


def test_only_whoever_keeps_both_reads_the_entry(world: World, terrace: Collection) -> None:
    his = world.animal("F1", room=terrace)
    let_look(world, world.odile, terrace)
    pairing = paired(world, world.animal("M1"), his)
    noted = note(world, world.odile, pairing)
    both = keeper("Berta Both")
    for room in (world.collection, terrace):
        given = {"to": str(both.pk), "role": "partner"}
        world.say(room.keeper, "grant_given", room.pk, given)
    assert _reads(both, noted, world)
    assert _reads(world.odile, noted, world), "her own word"
    assert not _reads(world.stan, noted, world)
    assert not _reads(world.greta, noted, world)


def _reads(who: Keeper, noted: Outcome, world: World) -> bool:
    try:
        return str(entry_seen(who.pk, UUID(noted.id), world.now).fact) == noted.id
    except NotFound:
        return False


def test_whoever_noted_it_examines_neither_of_the_two_blind(
    world: World, terrace: Collection
) -> None:
    """A note tells no more than its pairing, to nobody else."""
    own, his = world.animal("M1"), world.animal("F1", room=terrace)
    let_look(world, world.odile, terrace)
    pairing = paired(world, own, his)
    assert note(world, world.stan, pairing).status == "accepted"
    world.say(world.odile, "pairing_dropped", pairing)
    world.call(world.stan, own, "male", visit=world.visit(world.stan, own))
    assert dict(own.calls.values_list("by", "blind")) == {world.stan.pk: False}
