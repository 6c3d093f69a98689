"""What one keeper may know of an examiner, against counts made by hand."""

from uuid import UUID

import numpy as np
import pytest
from scipy.stats import beta
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.qualification import PLAN, right_calls_needed
from scalewitness.examiners.agreement import agreement_in
from scalewitness.examiners.figures import ExaminerKnown, examiner_seen
from scalewitness.intake.statements import update_examiner_records
from scalewitness.people.models import Keeper
from scalewitness.standings.models import ExaminerRecord

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]


def lays(world: World, animal: Animal) -> None:
    world.lays(animal)


def checked(world: World, tag: str, sex: str, guest: Keeper | None = None, **more: str) -> Animal:
    animal = world.animal(tag, **more)
    who = guest or world.greta
    world.call(who, animal, sex, visit=world.visit(who, animal))
    world.pass_time(days=4)
    return animal


def known(world: World, viewer: Keeper, examiner: Keeper) -> ExaminerKnown:
    return examiner_seen(viewer.pk, examiner.pk, world.now, np.random.default_rng(5))


def recorded(world: World) -> None:
    """Greta: wrong on one of three females."""
    for number, sex in enumerate(["female", "female", "male"]):
        lays(world, checked(world, f"E{number}", sex))
    update_examiner_records(world.now)


def test_the_record_is_the_prior_and_the_counts(world: World) -> None:
    """Keeper's prior Beta(2, 38) and 1 wrong, 2 right: Beta(2.7, 40.3); quantiles by SciPy."""
    recorded(world)
    found = known(world, world.odile, world.greta)
    logged = next(rate for rate in found.rates if rate.sex == "female").logged
    assert logged is not None
    assert (logged.counts.wrong, logged.counts.right) == (1, 2)
    assert logged.posterior == pytest.approx((2.7, 40.3))
    assert (logged.low, logged.high) == pytest.approx(tuple(beta(2.7, 40.3).ppf([0.025, 0.975])))
    assert found.record is not None
    assert found.record.position == ExaminerRecord.objects.get().position
    assert found.record.version == f"records-{found.record.position}"


def test_little_settled_brings_a_provisional_rate(world: World) -> None:
    recorded(world)
    found = known(world, world.odile, world.greta)
    assert found.provisional is not None
    assert found.provisional.animals == 3
    assert all(rate.provisional for rate in found.rates if rate.method == "probing")
    assert found == known(world, world.odile, world.greta), "the same for everyone"


def test_undetermined_and_knowing_calls_are_counted_apart(world: World) -> None:
    lays(world, checked(world, "U1", "undetermined"))
    animal = world.animal("K1")
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal, blind=False))
    lays(world, animal)
    (rate,) = [
        one
        for one in known(world, world.odile, world.greta).rates
        if (one.method, one.sex) == ("probing", "female")
    ]
    assert (rate.seen.undetermined, rate.seen.knowing) == (1, 1)
    assert (rate.seen.wrong, rate.seen.right) == (0, 0)


def test_the_test_says_how_many_right_calls_are_missing(world: World) -> None:
    """35 right calls reach Wald's line at p0 2%, p1 10%, both errors 5%: ln(19) / ln(.98/.9)
    is 34.6."""
    assert right_calls_needed(PLAN, 0, 0) == 35
    recorded(world)
    (found,) = known(world, world.odile, world.greta).qualifications
    assert (found.wrong, found.calls, found.decision) == (1, 3, "undecided")
    assert right_calls_needed(PLAN, 0, 35) == 0


def test_drift_counts_hatchlings_by_clutch(world: World) -> None:
    dam = str(world.animal("DAM").pk)
    hatched = world.now.date().isoformat()
    for number in range(10):
        checked(world, f"A{number}", "male", dam=dam, hatched=hatched)
    found = known(world, world.odile, world.greta).drift
    assert found is not None
    assert (found.males, found.sexed, found.clutches) == (10, 10, 1)
    assert found.p_exact == pytest.approx(2 / 2**10)
    assert found.towards == "male"


def test_everting_is_no_drift_since_it_finds_males_alone(world: World) -> None:
    """Six and six, everted without a mistake: in the females nothing shows."""
    dam, hatched = str(world.animal("DAM").pk), world.now.date().isoformat()
    for number in range(12):
        animal = world.animal(f"A{number}", dam=dam, hatched=hatched)
        out = number < 6
        seen = {"method": "eversion", "manner": "manual", "seen": "hemipenes" if out else "nothing"}
        sex = "male" if out else "undetermined"
        world.call(world.odile, animal, sex, body={"observed": seen, "sureness": "unsure"})
    assert known(world, world.odile, world.odile).drift is None


def test_harm_stays_when_the_call_is_taken_back(world: World) -> None:
    animal = world.animal("H1")
    visit = world.visit(world.greta, animal)
    made = world.call(world.greta, animal, "male", visit=visit, body={"harm": ["bleeding"]})
    world.say(world.greta, "call_withdrawn", animal.pk, {"call": made.id})
    rate = known(world, world.odile, world.greta).harm["probing"]
    assert (rate.harmed, rate.examined) == (1, 1)


def test_who_sees_an_examiner(world: World) -> None:
    animal = checked(world, "S1", "male")
    assert known(world, world.greta, world.greta).own
    for other in (world.stan, world.pim):
        with pytest.raises(NotFound):
            known(world, other, world.greta)
    world.visit(world.stan, animal)
    with pytest.raises(NotFound):  # Stan sees it blind, which opens nothing
        known(world, world.stan, world.greta)


def test_nothing_but_the_logged_sums_of_animals_out_of_sight(world: World) -> None:
    """Greta's visits are over: what she called has been settled since, and she is told how
    many she got wrong, not which, nor anything else made from them."""
    recorded(world)
    own = known(world, world.greta, world.greta)
    assert own.animals == 0
    assert (own.drift, own.harm, own.provisional) == (None, {}, None)
    assert [(one.seen.wrong, one.seen.right) for one in own.rates] == [(0, 0)]
    assert own.rates[0].logged is not None


def test_logged_sums_wait_while_something_is_to_be_checked_blind(world: World) -> None:
    """They would move when the animal in hand settles, and so tell its sex."""
    shared = checked(world, "W0", "female")
    recorded(world)
    world.visit(world.stan, shared, blind=False)
    assert known(world, world.stan, world.greta).record is not None
    world.visit(world.stan, world.animal("B1"))
    found = known(world, world.stan, world.greta)
    assert found.withheld
    assert found.record is None
    assert found.qualifications == ()
    assert all(rate.logged is None for rate in found.rates)


def test_agreement_between_blind_examiners(world: World) -> None:
    """Two examiners, four animals, three alike (2 male, 1 female), one apart: observed 3/4,
    expected 1/2 both by Cohen (margins 3:1 and 2:2) and kappa 1/2."""
    for number, (one, two) in enumerate(
        [("male", "male"), ("male", "male"), ("female", "female"), ("male", "female")]
    ):
        animal = checked(world, f"P{number}", one)
        world.call(world.stan, animal, two, visit=world.visit(world.stan, animal))
        world.pass_time(days=4)
    world.call(world.odile, Animal.objects.order_by("pk")[0], "female")  # hers: not blind
    found = agreement_in(world.collection.pk, np.random.default_rng(5))
    assert (found.animals, found.compared) == (4, 4)
    (pair,) = found.pairs
    assert (pair.animals, pair.agreed) == (4, 3)
    assert pair.kappa is not None
    assert pair.kappa.kappa == pytest.approx(0.5)
    assert found.fleiss is not None
    # Shares 5/8 and 3/8: expected 34/64.
    assert found.fleiss.coefficient == pytest.approx((3 / 4 - 34 / 64) / (1 - 34 / 64))
    assert found.krippendorff is not None
    assert found.krippendorff.interval is not None


def test_agreement_of_an_empty_collection(world: World) -> None:
    found = agreement_in(UUID(int=0), np.random.default_rng(5))
    assert (found.animals, found.fleiss, found.krippendorff, found.pairs) == (0, None, None, ())
