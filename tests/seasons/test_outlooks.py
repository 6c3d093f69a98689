"""What is worked out of a season: for whom, from what, and when anew."""

from collections import Counter
from datetime import timedelta
from uuid import UUID

import msgspec
import pytest
from tests.intake.test_pairings import let_look, letters, plan, stans
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import AffectedPlan
from scalewitness.domain.errors import NotNow, VersionStale
from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.genetics.tables import PLAIN
from scalewitness.domain.season.outlook import Change, OutlookBody
from scalewitness.domain.season.stated import LimitsStated
from scalewitness.domain.season.values import Chosen
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.season_changes import change_plan
from scalewitness.intake.services import accept
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Buyer
from scalewitness.seasons.models import Season, SeasonOutlook
from scalewitness.seasons.queries.at_stake import hanging_on, stake_for
from scalewitness.seasons.queries.draws import samples_of
from scalewitness.seasons.queries.inputs import season_read
from scalewitness.seasons.queries.shown import SeasonShown, season_shown
from scalewitness.seasons.services.asking import ask_for_best
from scalewitness.seasons.services.computing import compute_due
from scalewitness.seasons.services.settings import edit_season

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
__all__ = ["stans"]
YEAR = 2027


@told_once
def planned(world: World) -> Animal:
    """A verified male, planned with three females; another male and a female are left."""
    male = world.verified("M1")
    for tag in ("F1", "F2", "F3"):
        female = world.animal(tag)
        world.call(world.odile, female, "female")
        plan(world, world.odile, male, female)
    for tag, sex in (("M2", "male"), ("F4", "female")):
        world.call(world.odile, world.animal(tag), sex)
    return male


def shown(world: World, who: Keeper | None = None, room: Collection | None = None) -> SeasonShown:
    found = who or world.odile
    return season_shown(room or world.collection, YEAR, found.pk, world.now)


def worked_out(world: World) -> OutlookBody:
    compute_due(world.now)
    found = shown(world)
    assert found.outlook is not None
    assert not found.behind
    return found.outlook


def turns_female(world: World, animal: Animal) -> None:
    """Checks by others, until the record verifies the other sex."""
    for n in range(9):
        world.pass_time(days=1)
        guest = (world.greta, world.stan)[n] if n < 2 else keeper(f"Guest of day {n}")
        world.call(guest, animal, "female", visit=world.visit(guest, animal))
        if world.label(animal) == "verified female":
            return
    raise AssertionError(world.label(animal))


def taken_up(
    world: World, change: Change, season: SeasonShown, who: Keeper | None = None
) -> list[Outcome]:
    drops = [season.planned[one] for one in change.dropped]
    items = [world.item("pairing_dropped", one, {}) for one in drops]
    items += [
        world.item(
            "pairing_planned",
            new_id(world.now),
            {"sire": one.sire, "dam": one.dam, "season": YEAR},
        )
        for one in change.added
    ]
    of, actor = (season.collection.pk, YEAR), Actor(keeper=(who or world.odile).pk)
    return change_plan(items, season.planned.values(), of, actor, world.now, accept)


def test_a_season_is_worked_out_once_and_anew_when_a_fact_bears_on_it(
    world: World, planned: Animal
) -> None:
    assert shown(world).outlook is None
    assert shown(world).behind
    first = worked_out(world)
    assert len(first.plan) == 3
    assert first.worth.expected > 0
    kept = SeasonOutlook.objects.get()
    assert compute_due(world.now) == 0, "nothing came"
    _of_a_stranger(world)
    assert not shown(world).behind, "a stranger's animals"
    world.call(world.odile, world.animal("F9"), "female")
    assert shown(world).behind, "an animal of the collection was registered"
    assert shown(world).outlook == first, "shown as what it was, and that it is behind"
    compute_due(world.now)
    assert not shown(world).behind
    assert SeasonOutlook.objects.get(pk=kept.pk).position > kept.position


def _of_a_stranger(world: World) -> None:
    room = create_collection(world.stan, new_id(world.now), "Stan's shelf", world.now)
    sire, dam = (world.animal(tag, room=room) for tag in ("S1", "S2"))
    plan(world, world.stan, sire, dam)


def test_the_same_facts_in_whatever_order_are_worked_out_alike(
    world: World, planned: Animal
) -> None:
    """Also after an hour without a worker: nothing is kept but what was read last."""
    first = worked_out(world)
    made = world.call(world.odile, planned, "male")
    world.say(world.odile, "call_withdrawn", planned.pk, {"call": made.id})
    assert _but_checks(worked_out(world)) == _but_checks(first)
    SeasonOutlook.objects.all().delete()
    assert _but_checks(worked_out(world)) == _but_checks(first)


def _but_checks(outlook: OutlookBody) -> OutlookBody:
    """A withdrawn probing entered the animal all the same: the next one is a greater burden."""
    return msgspec.structs.replace(outlook, checks=())


def test_a_male_that_is_a_female_breaks_the_plan_and_the_repair_is_taken_up(
    world: World, planned: Animal
) -> None:
    before = worked_out(world)
    (ahead,) = [one for one in before.falls if one.animal == str(planned.pk)]
    assert ahead.left < before.worth.expected / 4, "the whole season hangs on it"
    assert ahead.after > ahead.left
    turns_female(world, planned)
    assert AffectedPlan.objects.filter(season=YEAR).count() >= 1
    stale = shown(world)
    assert stale.behind
    assert stale.outlook == before
    early = " ".join(str(compose(letters(world.odile)[-1]).body).split())
    assert f"What this costs your season {YEAR}" in early
    assert f"/collections/{world.collection.pk}/seasons/{YEAR}" in early
    after = worked_out(world)
    assert after.broken is not None
    late = " ".join(str(compose(letters(world.odile)[-1]).body).split())
    assert f"was expected to bring {before.worth.expected:.1f} wanted young" in late
    assert after.broken.before == pytest.approx(before.worth.expected)
    assert after.broken.animals == (str(planned.pk),)
    assert len(after.broken.pairs) == 3
    assert after.worth.expected < before.worth.expected / 4
    repair = after.repair
    assert repair is not None
    assert repair.expected > after.worth.expected
    assert len(repair.added) >= 3, "another male takes his place"
    for outcome in taken_up(world, repair, shown(world)):
        assert outcome.status == "accepted"
    mended = worked_out(world)
    assert mended.worth.expected == pytest.approx(repair.expected, rel=0.02)
    assert mended.broken is None, "another plan"


def test_of_two_repairs_on_two_pages_one_is_taken_up(world: World, planned: Animal) -> None:
    worked_out(world)
    turns_female(world, planned)
    repair, read = worked_out(world).repair, shown(world)
    assert repair is not None
    taken_up(world, repair, read)
    with pytest.raises(NotNow):
        taken_up(world, repair, read)
    size = len(shown(world).planned)
    bad = Change((), (*repair.added[:1], *repair.added[:1]), 0.0, 0.0, 0.0)
    outcomes = taken_up(world, bad, shown(world))
    assert any(one.problem for one in outcomes)
    assert len(shown(world).planned) == size, "all of it or nothing"


def test_two_males_that_fall_in_one_batch_are_told_together(world: World, planned: Animal) -> None:
    other = world.verified("M8")
    plan(world, world.odile, other, world.animal("F8"))
    worked_out(world)
    world.pass_time(days=1)
    visit = world.visit(world.greta, planned, other)
    items = []
    for animal, tag in ((planned, "M1"), (other, "M8")):
        body = _female(tag) | {"visit": str(visit)}
        items.append(world.item("call_made", animal.pk, body))
    assert [one.status for one in world.push(world.greta, *items)] == ["accepted"] * 2
    broken = worked_out(world).broken
    assert broken is not None
    assert set(broken.animals) == {str(planned.pk), str(other.pk)}
    assert len(broken.pairs) == 4


def _female(tag: str) -> dict[str, object]:
    from tests.world import probing

    return probing("female", tag)


def test_whose_access_ended_is_shown_nothing_and_computed_nothing(
    world: World, planned: Animal
) -> None:
    grant = world.make_partner(world.pim)
    ask_for_best(world.collection, YEAR, world.pim.pk, world.now)
    compute_due(world.now)
    mine = shown(world, world.pim).outlook
    assert mine is not None
    assert mine.best is not None
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    compute_due(world.now)
    assert not SeasonOutlook.objects.filter(reader=world.pim).exists()


def test_a_mate_that_may_be_seen_no_more_takes_the_numbers_with_it(
    world: World, stans: Animal
) -> None:
    """What is shown names no animal whose keeper closed it, not even until it is computed anew."""
    grant = let_look(world, world.odile, stans.collection)
    own = world.verified("V1")
    plan(world, world.odile, own, stans)
    assert len(worked_out(world).plan) == 1
    world.say(world.stan, "grant_revoked", stans.collection_id, {"grant": str(grant)})
    found = shown(world)
    assert found.outlook is None
    assert found.behind
    assert worked_out(world).plan == ()


@pytest.mark.one_in(1)
def test_a_partner_to_a_pairing_learns_nothing_of_third_animals(
    world: World, planned: Animal, stans: Animal
) -> None:
    let_look(world, world.odile, stans.collection)
    plan(world, world.odile, planned, stans)
    world.view(world.stan, planned)
    compute_due(world.now)
    his = season_shown(stans.collection, YEAR, world.stan.pk, world.now)
    assert set(his.animals) == {planned.pk, stans.pk}
    assert his.outlook is not None
    assert len(his.outlook.plan) == 1
    others = set(world.collection.animals.values_list("pk", flat=True)) - {planned.pk}
    kept = SeasonOutlook.objects.get(reader=world.stan)
    text = msgspec.json.encode(kept.body).decode()
    assert not [one for one in others if str(one) in text]
    assert not others & set(kept.basis)


def test_what_is_wanted_is_a_record_with_a_history(world: World, planned: Animal) -> None:
    first = worked_out(world)
    fields = {"limits": msgspec.to_builtins(LimitsStated(females_per_male=2))}
    by = {"by": world.odile, "now": world.now}
    edit_season(world.collection, YEAR, fields, version=0, **by)  # type: ignore[arg-type]
    assert shown(world).behind
    with pytest.raises(VersionStale):
        edit_season(world.collection, YEAR, fields, version=0, **by)  # type: ignore[arg-type]
    more = {"kept": [str(one) for one in list(shown(world).planned.values())[:1]]}
    edit_season(world.collection, YEAR, more, version=1, **by)  # type: ignore[arg-type]
    assert Season.objects.get().history.count() == 2
    again = worked_out(world)
    assert str(planned.pk) in again.worth.over, "three females are more than two"
    assert again.plan == first.plan


def test_the_best_plan_is_worked_out_when_asked_for(world: World, planned: Animal) -> None:
    assert worked_out(world).best is None
    ask_for_best(world.collection, YEAR, world.odile.pk, world.now)
    best = worked_out(world).best
    assert best is not None
    assert best.expected >= worked_out(world).worth.expected
    assert compute_due(world.now) == 0


def test_one_run_at_a_time_and_one_that_died_is_not_waited_for(
    world: World, planned: Animal
) -> None:
    worked_out(world)
    ask_for_best(world.collection, YEAR, world.odile.pk, world.now)
    SeasonOutlook.objects.update(claimed_until=world.now + timedelta(minutes=1))
    assert compute_due(world.now) == 0
    SeasonOutlook.objects.update(claimed_until=world.now - timedelta(minutes=1))
    assert worked_out(world).best is not None


def test_every_male_on_loan_leaves_nothing_to_propose_but_says_what_is_planned(
    world: World, stans: Animal
) -> None:
    grant = {"to": str(world.stan.pk), "role": "partner"}
    world.say(world.odile, "grant_given", world.collection.pk, grant)
    moved = {"to": str(world.collection.pk), "why": "loaned"}
    world.say(world.stan, "custody_changed", stans.pk, moved)
    world.call(world.odile, stans, "male")
    female = world.animal("F1")
    world.call(world.odile, female, "female")
    ask_for_best(world.collection, YEAR, world.odile.pk, world.now)
    found = worked_out(world)
    assert found.best == Change((), (), 0.0, 0.0, 0.0)
    plan(world, world.odile, stans, female)
    by_hand = worked_out(world)
    assert by_hand.worth.expected > 0
    assert [one.why for one in by_hand.worth.pairings[0].objections] == ["not_available"]


def best_of(world: World, who: Keeper, room: Collection) -> Change:
    ask_for_best(room, YEAR, who.pk, world.now)
    compute_due(world.now)
    outlook = shown(world, who, room).outlook
    assert outlook is not None
    assert outlook.best is not None
    return outlook.best


def test_what_one_is_offered_is_proposed_if_the_limits_say_so_and_one_sees_it(
    world: World, stans: Animal
) -> None:
    """Odile offers Stan two males and a female; one of the males he was never let see."""
    room = stans.collection
    world.call(world.stan, stans, "female")
    male, unseen, female = (world.animal(tag) for tag in ("M-1", "M-2", "F-1"))
    for one, sex in ((male, "male"), (unseen, "male"), (female, "female")):
        world.call(world.odile, one, sex)
    world.view(world.stan, male, female)
    use = {"limits": msgspec.to_builtins(LimitsStated(use=("offered",)))}
    edit_season(room, YEAR, use, version=0, by=world.stan, now=world.now)
    nothing = Change((), (), 0.0, 0.0, 0.0)
    assert best_of(world, world.stan, room) == nothing, "seen, and not offered"
    sale = world.draft(male, unseen, female, email=world.stan.email)
    Buyer.objects.filter(pk=sale.buyer_id).update(keeper=world.stan)
    world.offer(sale)
    assert shown(world, world.stan, room).behind
    best = best_of(world, world.stan, room)
    pair = Chosen(str(male.pk), str(stans.pk))
    assert best.added == (pair,), "of the two that he is offered he would keep neither"
    use = {"limits": msgspec.to_builtins(LimitsStated())}
    edit_season(room, YEAR, use, version=1, by=world.stan, now=world.now)
    assert best_of(world, world.stan, room) == nothing, "he does not plan with what he is offered"
    (outcome,) = taken_up(world, best, shown(world, world.stan, room), world.stan)
    assert outcome.status == "accepted"
    read = season_read(room, YEAR, world.stan.pk, world.now)
    assert {one.animal: one.availability for one in read.season.animals} == {
        str(male.pk): "offered",
        str(stans.pk): "ready",
    }
    world.say(world.odile, "offer_withdrawn", sale.pk)
    assert shown(world, world.stan, room).behind
    read = season_read(room, YEAR, world.stan.pk, world.now)
    assert {one.availability for one in read.season.animals} == {"ready"}


def test_young_that_the_reader_may_not_see_do_not_make_their_dam_rest(
    world: World, stans: Animal
) -> None:
    """A boa: half of the females breed in a year (data/reproduction.toml)."""
    dam = world.animal("D-1", species="boa_imperator")
    grant = world.view(world.stan, dam)
    born = {"hatched": world.now.date().isoformat(), "dam": str(dam.pk)}

    def availability() -> str:
        read = season_read(world.collection, world.now.year + 1, world.odile.pk, world.now)
        return next(one.availability for one in read.season.animals if one.animal == str(dam.pk))

    world.animal("Y-1", species="boa_imperator", room=stans.collection, **born)
    assert availability() == "ready"
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    world.animal("Y-2", species="boa_imperator", **born)
    assert availability() == "resting"


def test_what_is_kept_is_told_by_its_format(world: World, planned: Animal) -> None:
    worked_out(world)
    SeasonOutlook.objects.update(body={"format": 0})
    assert shown(world).outlook is None
    assert shown(world).behind


def test_what_hangs_on_an_animal_weighs_in_the_plan_of_a_visit(
    world: World, planned: Animal
) -> None:
    """In the place of the fixed stake of a planned pairing; for the host alone."""
    ids = list(world.collection.animals.values_list("pk", flat=True))
    before = stake_for(world.odile.pk, ids, world.now)
    assert before.of(planned.pk) == ("planned_pairing",)
    found = worked_out(world)
    after = stake_for(world.odile.pk, ids, world.now)
    assert after.hanging[planned.pk] == pytest.approx(1.0, abs=0.2)
    assert after.of(planned.pk) == ()
    assert set(after.hanging) == {UUID(one.animal) for one in found.falls}
    assert hanging_on(world.greta.pk, ids, world.now) == {}


def test_what_is_carried_and_who_is_kin_is_read_from_the_pedigree(world: World) -> None:
    """Two heterozygotes by test of a recessive trait bring a quarter; siblings are kin."""
    sire = world.verified("M1")
    dam = world.animal("F1")
    world.call(world.odile, dam, "female")
    parents = {"sire": str(sire.pk), "dam": str(dam.pk), "hatched": "2024-06-01"}
    one, other = world.animal("Y1", **parents), world.animal("Y2", **parents)
    stated = {"locus": "albino", "allele": "albino", "says": "carries_one", "basis": "dna"}
    for animal in (sire, dam):
        texts = {"laboratory": "Lab of the hills", "sample": "S-1"}
        world.say(world.odile, "trait_stated", animal.pk, stated, texts=texts)
    want = {"traits": [{"species": "python_regius", "locus": "albino", "look": "albino"}]}
    edit_season(world.collection, YEAR, {"wants": [want]}, version=0, by=world.odile, now=world.now)
    plan(world, world.odile, sire, dam)
    read = season_read(world.collection, YEAR, world.odile.pk, world.now)
    key = min(str(one.pk), str(other.pk)), max(str(one.pk), str(other.pk))
    assert read.season.kinship[key] == pytest.approx(0.25, abs=0.05)
    found = worked_out(world)
    every = sum(n * p for n, p in read.season.animals[0].young.items())
    assert found.worth.expected == pytest.approx(every / 4, rel=0.2)


def test_what_relatives_carry_is_drawn_for_all_of_them_at_once(world: World) -> None:
    """Whether a visual's dam carries one copy or two, her young has one at the least."""
    dam = world.animal("F1")
    young = world.animal("Y1", dam=str(dam.pk), hatched="2024-06-01")
    stated = {"locus": "albino", "allele": "albino", "says": "carries_one", "basis": "claimed"}
    world.say(world.odile, "trait_stated", dam.pk, stated)
    read = season_read(world.collection, YEAR, world.odile.pk, world.now)
    drawn = samples_of(read, PLAIN)
    assert drawn == samples_of(read, ARRAYS)
    assert len(drawn) == read.season.scenarios
    key = read.season.loci[0].key
    pairs = Counter((one[str(dam.pk)][key], one[str(young.pk)][key]) for one in drawn)
    free, carrier = ("wild", "wild"), ("wild", "albino")
    assert 0.3 < pairs[carrier, carrier] / len(drawn) < 0.6
    assert pairs[free, carrier] <= 2
    assert [len(one[str(young.pk)]) for one in drawn] == [1] * len(drawn)


def test_nothing_is_drawn_where_nothing_is_stated(world: World) -> None:
    read = season_read(world.collection, YEAR, world.odile.pk, world.now)
    assert samples_of(read, PLAIN) == ()
