"""What the record states on its own: offers that lapse, policies that are adopted."""

from collections import Counter
from io import StringIO

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.domain.sexing.parameters import CURRENT, VERSIONS, released
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.intake import statements
from scalewitness.intake.services import accept_one
from scalewitness.intake.statements import adopt_policy, foresee_policy, lapse_offers
from scalewitness.intake.tasks import lapse_due_offers
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER
from scalewitness.sales.models import OfferLink, Sale, SaleStep
from scalewitness.sales.queries import progress_of
from scalewitness.standings.models import AdoptedPolicy, Standing
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def animal(world: World) -> Animal:
    """A verified male."""
    return world.verified("V1")


def test_the_clock_knows_the_task_by_its_name() -> None:
    names = {one["task"] for one in settings.CELERY_BEAT_SCHEDULE.values()}
    assert lapse_due_offers.name in names


def test_an_offer_that_ran_out_lapses_once(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    world.offer(sale)
    assert lapse_offers(world.now) == 0
    world.pass_time(days=8)
    assert lapse_offers(world.now) == 1
    assert lapse_offers(world.now) == 0
    assert progress_of(sale).state == "lapsed"
    assert not OfferLink.objects.filter(revoked_at=None).exists()
    assert Entry.objects.filter(kind="offer_lapsed", by=None).count() == 1
    world.offer(sale)
    assert progress_of(sale).state == "offered"


def test_a_sale_that_cannot_be_read_keeps_none_after_it_from_lapsing(world: World) -> None:
    broken, sound = (world.draft(world.verified(tag)) for tag in ("V1", "V2"))
    for sale in (broken, sound):
        world.offer(sale)
    last = broken.steps.get()
    SaleStep.objects.create(
        id=new_id(),
        position=last.position + 10**6,
        sale=broken,
        kind="check_requested",
        at=last.at,
        body={},
    )
    SaleStep.objects.create(
        id=new_id(),
        position=last.position - 1,
        sale=broken,
        kind="handed_over",
        at=last.at,
        body={},
    )
    world.pass_time(days=8)
    with pytest.raises(ValueError, match="does not follow"):
        lapse_offers(world.now)
    assert progress_of(Sale.objects.get(pk=sound.pk)).state == "lapsed"


def test_sales_that_were_paid_are_not_gone_through_each_time(world: World) -> None:
    """However many there ever were; nor those declined."""
    for tag in ("V1", "V2"):
        world.sold(world.verified(tag))
    declined = world.draft(world.verified("V3"))
    world.offer(declined)
    accept_one(world.item("offer_declined", declined.pk, {}), world.buyer(declined), world.now)
    with CaptureQueriesContext(connection) as asked:
        assert lapse_offers(world.now) == 0
    assert len(asked) == 1, "one that finds none, and no steps are read"


def test_a_confirmed_sale_does_not_lapse(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    world.confirm(sale, offer.id, offer.position)
    world.pass_time(days=8)
    assert lapse_offers(world.now) == 0


def test_a_stricter_policy_is_a_fact_and_what_it_takes_away_is_disclosed(
    world: World, animal: Animal
) -> None:
    world.sold(animal)
    strict = {"verified": "0.999990"}
    policy = adopt_policy("policy-strict", "sexing-1", strict, world.now)
    assert world.label(animal) == "probable male"
    assert Standing.objects.filter(policy="policy-strict").count() == 1
    assert Disclosure.objects.get().change == "fell"
    assert Entry.objects.get(position=policy.position).kind == "policy_adopted"
    world.pass_time(days=1)
    world.call(world.odile, animal, "male")
    replay = Replay()
    assert list(replay.differences()) == []
    assert replay.checked == Standing.objects.count()
    with pytest.raises(Refused) as error:
        adopt_policy("policy-strict", "sexing-1", {"verified": "0.990000"}, world.now)
    assert error.value.as_problem()["code"] == "id_reused"


def test_one_policy_that_fells_two_animals_of_a_sale_owes_two_letters(
    world: World, animal: Animal
) -> None:
    """The policy is one cause; what is owed is one letter for each disclosure and standing."""
    one, other = animal, world.verified("V2")
    sale = world.draft(one, other)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    world.confirm(sale, offer.id, offer.position)
    world.say(world.odile, "payment_recorded", sale.pk)
    adopt_policy("policy-strict", "sexing-1", {"verified": "0.999990"}, world.now)
    assert Disclosure.objects.count() == 2
    assert Letter.objects.filter(kind="disclosure").count() == 2
    assert Letter.objects.filter(kind="standing_notice").count() == 2


@pytest.mark.parametrize(
    "given", [["p9", "verified=2"], ["p9", "sureness=0.9"], ["p9", "verified=much"]]
)
def test_the_command_refuses_what_is_no_policy(db: None, given: list[str]) -> None:
    with pytest.raises(CommandError):
        call_command("adopt_policy", *given, stdout=StringIO())
    assert not Entry.objects.filter(kind="policy_adopted").exists()


def test_unknown_parameters_are_refused(db: None, world: World) -> None:
    with pytest.raises(Refused):
        adopt_policy("p9", "sexing-none", {"verified": "0.990000"}, world.now)


@pytest.mark.parametrize(
    ("version", "verified", "code"),
    [
        (DEFAULT_POLICY.version, "0.900000", "id_reused"),
        ("Policy-1", "0.900000", "out_of_range"),
        ("policy-1 ", "0.900000", "out_of_range"),
        ("policy‑1", "0.900000", "out_of_range"),  # a hyphen that does not break
        ("p" * 61, "0.900000", "out_of_range"),
        ("", "0.900000", "out_of_range"),
        (CURRENT, "0.995000", "id_reused"),
        (f"{CURRENT}.1", "0.995000", "id_reused"),
    ],
)
def test_no_policy_goes_by_a_name_that_is_published_as_something_else(
    world: World, animal: Animal, version: str, verified: str, code: str
) -> None:
    about = version, CURRENT, {"verified": verified}, world.now
    for put_in_force in (adopt_policy, foresee_policy):
        with pytest.raises(Refused) as error:
            put_in_force(*about)
        assert error.value.as_problem()["code"] == code
    assert not Entry.objects.filter(kind="policy_adopted").exists()
    assert world.label(animal) == "verified male"


def test_a_record_goes_back_to_the_policy_it_started_with(world: World, animal: Animal) -> None:
    adopt_policy("policy-strict", CURRENT, {"verified": "0.999990"}, world.now)
    assert world.label(animal) == "probable male"
    adopt_policy(DEFAULT_POLICY.version, CURRENT, {"verified": "0.990000"}, world.now)
    assert world.label(animal) == "verified male"
    assert list(Replay().differences()) == []


def test_no_released_numbers_have_the_name_of_learned_ones() -> None:
    assert [one for one in VERSIONS if released(one) != one] == []


def test_an_older_policy_is_not_put_in_force_again(world: World) -> None:
    first = ("policy-1st", "sexing-1", {"verified": "0.995000"}, world.now)
    adopt_policy(*first)
    adopt_policy("policy-2nd", "sexing-1", {"verified": "0.996000"}, world.now)
    with pytest.raises(Refused):
        adopt_policy(*first)


def test_nobody_is_offered_a_standing_that_the_rule_in_force_would_not_state(
    world: World, animal: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between a new rule and the animal's turn to be reassessed under it."""
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    monkeypatch.setattr(statements, "reassess_due", lambda now: 0)
    adopt_policy("policy-strict", "sexing-1", {"verified": "0.999990"}, world.now)
    assert world.label(animal) == "verified male"
    with pytest.raises(Refused) as error:
        world.confirm(sale, offer.id, offer.position)
    assert error.value.as_problem()["code"] == "standing_moved"
    assert world.label(animal) == "probable male"


def test_a_dry_run_foresees_labels_and_letters_and_records_nothing(
    world: World, animal: Animal
) -> None:
    world.sold(animal)
    world.verified("V2")
    world.call(world.odile, world.animal("A1"), "male")
    about = "policy-strict", "sexing-2", {"verified": "0.999990"}, world.now
    entries, letters = Entry.objects.count(), Letter.objects.count()
    found = foresee_policy(*about)
    assert (Entry.objects.count(), Letter.objects.count()) == (entries, letters)
    assert not AdoptedPolicy.objects.exists()
    before = Counter(Letter.objects.values_list("kind", flat=True))
    adopt_policy(*about)
    after = Counter(Letter.objects.values_list("kind", flat=True))
    owed = after - before
    assert len(found.readers) == owed.pop(COVER)
    assert found.letters == owed
    assert found.letters["disclosure"] == 1
    assert found.labels == {
        ("verified male", "probable male"): 2,
        ("probable male", "probable male"): 1,
    }
    out = StringIO()
    call_command("adopt_policy", "policy-3", "--parameters", "sexing-1", "--dry-run", stdout=out)
    assert "3 animals with a standing; 2 change label:" in out.getvalue()
    assert "probable male → verified male" in out.getvalue()
    assert out.getvalue().endswith("Nothing was recorded.\n")
