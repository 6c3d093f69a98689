"""Which seasons are worked out, for whom, and what an answer to a changed plan says."""

from datetime import timedelta
from typing import Any

import msgspec
import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.intake.test_pairings import plan, stans
from tests.seasons.test_outlooks import YEAR, planned, shown, taken_up, worked_out
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.api.shapes.seasons import season
from scalewitness.breeding.models import AffectedPlan
from scalewitness.domain.errors import NotFound
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.season.outlook import Change
from scalewitness.domain.season.values import Chosen
from scalewitness.ledger.queries.tree import tip
from scalewitness.seasons.models import SeasonOutlook
from scalewitness.seasons.queries.outlooks import YEARS_AHEAD, due
from scalewitness.seasons.queries.seasons import years_of
from scalewitness.seasons.queries.shown import season_shown
from scalewitness.seasons.services import computing
from scalewitness.seasons.services.asking import ask_for_best
from scalewitness.seasons.services.computing import compute_due
from scalewitness.seasons.services.settings import edit_season

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]
__all__ = ["planned", "stans"]


def test_where_one_pairing_is_refused_no_answer_says_that_another_is_on_record(
    world: World, planned: Animal
) -> None:
    """Its position would be that of whatever comes next."""
    worked_out(world)
    new = Chosen(str(world.animal("N1").pk), str(world.animal("N2").pk))
    size = tip().size
    outcomes = taken_up(world, Change((), (new, new), 0.0, 0.0, 0.0), shown(world))
    assert tip().size == size
    assert [(one.status, one.position, one.stamp) for one in outcomes] == [
        ("refused", None, None)
    ] * 2
    assert outcomes[0].problem == outcomes[1].problem


def test_a_partner_has_a_season_worked_out_without_asking(world: World, planned: Animal) -> None:
    worked_out(world)
    world.make_partner(world.pim)
    compute_due(world.now)
    assert shown(world, world.pim).outlook is not None
    assert not SeasonOutlook.objects.exclude(reader__in=[world.odile, world.pim]).exists()


def test_seasons_that_are_over_or_far_off_take_no_time_and_say_so(
    world: World, planned: Animal
) -> None:
    worked_out(world)
    for year in (world.now.year - 1, world.now.year + YEARS_AHEAD + 1):
        with pytest.raises(NotFound):
            ask_for_best(world.collection, year, world.odile.pk, world.now)
        found = season_shown(world.collection, year, world.odile.pk, world.now)
        assert (found.ahead, found.behind, found.asked) == (False, False, False)
    ask_for_best(world.collection, world.now.year + YEARS_AHEAD, world.odile.pk, world.now)
    assert compute_due(world.now) == 1


def test_access_that_ends_at_its_time_takes_its_numbers_with_it(
    world: World, stans: Animal
) -> None:
    """No fact says that it is over: the season is worked out again all the same."""
    world.now = timezone.now()
    until = rfc3339(world.now + timedelta(hours=2))
    given = {"to": str(world.odile.pk), "role": "viewer", "until": until}
    world.say(world.stan, "grant_given", stans.collection_id, given)
    own = world.animal("M1")
    world.call(world.odile, own, "male")
    plan(world, world.odile, own, stans)
    assert len(worked_out(world).plan) == 1
    assert due(world.now)[0].count() == 0
    world.pass_time(hours=3)
    assert shown(world).outlook is None
    assert due(world.now)[0].count() == 1


def test_what_does_not_bear_on_a_season_is_noted_seldom(
    world: World, planned: Animal, stans: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of thousands of seasons every entry would rewrite all; and none is worked out twice."""
    other = plan(world, world.stan, world.animal("S-2", room=stans.collection), stans)
    worked_out(world)
    his = SeasonOutlook.objects.get(reader=world.stan)
    at = SeasonOutlook.objects.get(reader=world.odile).position
    world.say(world.stan, "pairing_dropped", other)
    assert compute_due(world.now) == 1
    assert compute_due(world.now) == 0, "his last entry is before what his season rests on now"
    assert SeasonOutlook.objects.get(pk=his.pk).position > his.position
    assert SeasonOutlook.objects.get(reader=world.odile).position == at
    assert not shown(world).behind
    monkeypatch.setattr(computing, "LAG", 0)
    assert compute_due(world.now) == 0
    assert SeasonOutlook.objects.get(reader=world.odile).position == tip().size


@pytest.mark.one_in(1)
def test_no_season_tells_that_a_blind_guests_animal_is_paired_with_one_of_the_guest(
    world: World,
) -> None:
    """Whoever has males alone knows for a female what is paired with one and not told of."""
    secret = world.verified("X1", "male")
    room = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    world.say(world.greta, "grant_given", room.pk, {"to": str(world.odile.pk), "role": "partner"})
    own = world.animal("M1", room=room)
    visit = world.visit(world.greta, secret, days=60)
    plan(world, world.greta, own, world.animal("F1", room=room))
    compute_due(world.now)
    before = _as_shown(world, room)
    assert [one["year"] for one in before] == [YEAR]
    for year in (YEAR, YEAR + 1):
        body = {"sire": str(secret.pk), "dam": str(own.pk), "season": year}
        made = world.say(world.odile, "pairing_planned", new_id(world.now), body)
        fields = {"kept": [str(made.id)]}
        if year == YEAR:
            edit_season(room, year, fields, version=0, by=world.odile, now=world.now)
            compute_due(world.now)
            before = _as_shown(world, room)
    kept = SeasonOutlook.objects.filter(reader=world.greta)
    compute_due(world.now)
    assert _as_shown(world, room) == before
    assert not [one.year for one in kept if one.year != YEAR]
    (counted,) = secret.calls.filter(by=world.fenna.pk)
    world.say(world.fenna, "call_withdrawn", secret.pk, {"call": str(counted.pk)})
    assert AffectedPlan.objects.filter(collection=room).exists()
    compute_due(world.now)
    assert _as_shown(world, room) == before

    world.call(world.greta, secret, "male", visit=visit)
    assert shown(world, world.greta, room).behind
    compute_due(world.now)
    assert [one["year"] for one in _as_shown(world, room)] == [YEAR, YEAR + 1]


def _as_shown(world: World, room: Collection) -> list[dict[str, Any]]:
    """Of the years that a page names to Greta, what she gets."""
    years = years_of(room.pk, world.now.year, world.greta.pk, world.now)
    found = (season_shown(room, year, world.greta.pk, world.now) for year in years)
    return [msgspec.to_builtins(season(one)) for one in found]


def test_a_best_plan_of_before_is_told_from_the_one_that_was_asked_for(
    world: World, planned: Animal
) -> None:
    path, api = f"/collections/{world.collection.pk}/seasons/2027", Api(world.odile)
    for _ in range(2):
        assert api.post(f"{path}/best").status == 204
        asked = api.get(path).body
        worked_out(world)
        found = api.get(path).body
        assert (asked["asked"], found["asked"]) == (True, False)
        assert found["outlook"]["best"]
        kept = shown(world).outlook
        assert kept is not None
        told = [(one["pair"], one["costs"]) for one in found["outlook"]["alternatives"]]
        assert told == [
            ({"sire": pair.sire, "dam": pair.dam}, costs) for pair, costs in kept.alternatives
        ]
        assert told, "another male is left"
    assert asked["outlook"]["best"], "that of before"


def test_there_are_no_seasons_of_years_that_nobody_lives(world: World) -> None:
    api = Api(world.odile)
    for year in (1999, 2101, 10**6, 10**12):
        path = f"/collections/{world.collection.pk}/seasons/{year}"
        assert api.get(path).status == 404
        assert api.post(f"{path}/best").status == 404


def test_nobody_wants_more_than_a_season_can_be_planned_for(world: World) -> None:
    path = f"/collections/{world.collection.pk}/seasons/2027"
    api = Api(world.odile)
    sent = api.patch(path, {"wants": [{"weight": 1.0}] * 61}, {"If-Match": '"v0"'})
    assert sent.status == 422
