"""A sex is verified only if somebody whose word costs something took part; and a newcomer's word
alone takes none away."""

import re
from collections.abc import Callable
from datetime import timedelta
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from tests.assessed import assessment_of
from tests.pages.browser import Browser
from tests.plugins.told_once import told_once
from tests.world import World, keeper, new_id, probing, vouched

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import ground_against
from scalewitness.domain.errors import Refused
from scalewitness.domain.facts import ExaminerRecordChanged, SettledCounts
from scalewitness.intake import consequences, reassessing
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.newcomers import count_unanswered
from scalewitness.intake.reassessing import reassess_due
from scalewitness.intake.rules import reports
from scalewitness.intake.services import accept_one
from scalewitness.intake.statements import find_deceit
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Founder, Keeper, Practitioner, PractitionerAddress
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.footing import (
    earned_by,
    footing_of,
    may_vouch,
    rests_on_lost,
)
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def animal(world: World) -> Animal:
    """A verified male."""
    return world.verified("V1")


def blind(world: World, animal: Animal, sex: str, who: Keeper) -> None:
    world.pass_time(days=1)
    world.call(who, animal, sex, visit=world.visit(who, animal))


def by_newcomers(world: World, tag: str, count: int = 3) -> Animal:
    animal = world.animal(tag)
    world.call(world.odile, animal, "male")
    for number in range(count):
        blind(world, animal, "male", keeper(f"New {tag} {number}"))
    return animal


def replays() -> None:
    assert list(Replay().differences()) == []


def last_stated(animal: Animal, kind: str = "standing_changed") -> dict[str, object]:
    entry = Entry.objects.filter(about=animal.pk, kind=kind).latest("position")
    return dict(leaf_of(entry).body)


# --- what verifies --------------------------------------------------------------------


def test_fresh_accounts_verify_nothing_however_many_until_one_known_here_agrees(
    world: World,
) -> None:
    animal = by_newcomers(world, "A1", count=4)
    assert world.label(animal) == "probable male"
    found, _ = assessment_of(animal)
    assert found.p_male > 0.99
    assert found.reasons[0] == "newcomers"
    assert last_stated(animal)["admitted"][0]["footing"] == "none"  # type: ignore[index]
    blind(world, animal, "male", world.greta)
    assert world.label(animal) == "verified male"
    assert last_stated(animal)["admitted"][0]["footing"] == "founder"  # type: ignore[index]
    replays()


def test_what_is_missing_is_said_in_words(world: World) -> None:
    lines = dossier(by_newcomers(world, "A1")).lines
    assert any(line.text.startswith("Nobody with a record here") for line in lines)


def test_eggs_that_only_newcomers_confirmed_settle_nothing(world: World) -> None:
    animal = world.animal("E1")
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = probing("female", world.chip(animal)) | {"observed": seen}
    made = world.say(world.odile, "call_made", animal.pk, body)
    for who, label in ((keeper("New"), "probable female"), (world.stan, "verified female")):
        world.view(who, animal)
        world.say(who, "witness_stated", animal.pk, {"call": made.id})
        assert world.label(animal) == label
    replays()


def test_eggs_that_a_new_guest_says_they_saw_settle_nothing(world: World) -> None:
    animal, new = world.animal("E1"), keeper("New")
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = probing("female", world.chip(animal)) | {"observed": seen}
    body["visit"] = str(world.visit(new, animal))
    assert world.say(new, "call_made", animal.pk, body).status == "accepted"
    assert world.label(animal) == "probable female"


def test_a_confirmation_from_before_footing_was_asked_stays_one(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal, body = world.animal("E1"), probing("female")
    body["observed"] = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    made = world.say(world.odile, "call_made", animal.pk, body)
    for number in range(2):
        who = keeper(f"New {number}")
        world.view(who, animal)
        with monkeypatch.context() as then:
            if not number:
                then.setattr(reports, "_footing_behind", lambda *_, **__: None)
            world.say(who, "witness_stated", animal.pk, {"call": made.id})
    stated = last_stated(animal)["reports"]
    assert stated == [{"call": made.id, "report": "confirmed"}]
    replays()


def test_a_footing_gained_later_says_nothing_of_calls_made_before(world: World) -> None:
    animal, new = world.animal("A1"), keeper("New")
    world.call(world.odile, animal, "male")
    blind(world, animal, "male", new)
    vouched(new, world.now)
    blind(world, animal, "male", keeper("Another"))
    assert world.label(animal) == "probable male"


# --- how a footing is come by ---------------------------------------------------------


def test_two_vouchers_who_keep_no_animals_together_give_a_footing(world: World) -> None:
    new = keeper("New")
    said = []
    for who in (world.greta, world.stan):
        said.append(footing_of(new.pk))
        assert world.say(who, "keeper_vouched", new.pk, {}).status == "accepted"
    assert [*said, footing_of(new.pk)] == ["none", "none", "vouched"]
    with pytest.raises(Refused, match="already"):
        world.say(world.stan, "keeper_vouched", new.pk, {})
    world.say(world.stan, "keeper_vouched", new.pk, {"vouches": False})
    assert footing_of(new.pk) == "none"


def test_partners_count_as_one_voucher(world: World) -> None:
    new = keeper("New")
    world.make_partner(world.pim)
    for who in (world.odile, world.pim):
        world.say(who, "keeper_vouched", new.pk, {})
    assert footing_of(new.pk) == "none"


def test_who_makes_both_vouchers_partners_of_a_collection_unasked_ends_no_footing(
    world: World,
) -> None:
    new = vouched(keeper("New"), world.now)
    vouchers = (world.stan, world.fenna)
    animal = world.verified("V1")  # where Fenna was a guest
    for who in vouchers:
        world.make_partner(who)
        noted = {"noted": {"type": "weight", "grams": "500"}}
        world.say(who, "husbandry_noted", animal.pk, noted)
    assert footing_of(new.pk) == "vouched", "Fenna may have left that as a guest"
    register = {"collection": str(world.collection.pk), "species": "python_regius"}
    assert world.say(world.fenna, "animal_registered", new_id(world.now), register).id
    assert footing_of(new.pk) == "none", "they keep animals together"


@pytest.mark.parametrize("who", ["stranger", "vouched", "self", "partner"])
def test_who_may_not_vouch(world: World, who: str) -> None:
    new, other = keeper("New"), keeper("Other")
    world.make_partner(world.pim)
    voucher, about = {
        "stranger": (other, new),
        "vouched": (vouched(other, world.now), new) if who == "vouched" else (other, new),
        "self": (world.odile, world.odile),
        "partner": (world.odile, world.pim),
    }[who]
    with pytest.raises(Refused) as refused:
        world.say(voucher, "keeper_vouched", about.pk, {})
    assert refused.value.as_problem()["code"] == "not_allowed"


def test_a_record_of_its_own_gives_a_footing_from_eight_calls_for_two_others_on() -> None:
    def record(right: int, wrong: int, hosts: int, method: str = "probing") -> bool:
        who = UUID(int=1)
        counts = SettledCounts(method=method, sex="male", wrong=wrong, right=right)  # type: ignore[arg-type]
        made = ExaminerRecordChanged(role="keeper", counts=(counts,), hosts=hosts)
        return who in earned_by({who: made})

    assert record(8, 0, 2)
    assert record(7, 1, 2)
    assert not record(7, 0, 2)
    assert not record(6, 2, 2)
    assert not record(80, 0, 1)
    assert not record(80, 0, 2, "visual")


def test_five_founders_at_most_are_named_and_none_twice(world: World) -> None:
    with pytest.raises(CommandError, match="5 founders at most"):
        call_command("name_founders", keeper("Sixth").email)
    call_command("name_founders", world.odile.email)
    assert Founder.objects.count() == 5


def test_ten_who_earned_it_end_the_founders(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    ten = frozenset(UUID(int=number) for number in range(10))
    monkeypatch.setattr("scalewitness.standings.queries.footing._earned_now", lambda: ten)
    assert footing_of(world.greta.pk) == "none"


# --- deceit ---------------------------------------------------------------------------


def found_to_deceive(world: World, who: Keeper, animal: Animal) -> None:
    opened = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.odile, "dispute_opened", new_id(world.now), opened)
    texts = {"reasons": "They were elsewhere that day."}
    dispute = Dispute.objects.get().pk
    world.say(world.odile, "finding_recorded", dispute, {"outcome": "calls_stand"}, texts=texts)
    find_deceit(who.pk, Finding.objects.get().pk, world.now)


def test_deceit_reopens_what_stands_by_that_word_alone_and_costs_the_vouchers_theirs(
    world: World,
) -> None:
    bad, good = vouched(keeper("Bad"), world.now), vouched(keeper("Good"), world.now)
    animal, other = world.animal("A1"), world.animal("A2")
    for one in (animal, other):
        world.call(world.odile, one, "male")
        blind(world, one, "male", bad)
        blind(world, one, "male", keeper(f"New {one.pk}"))
    assert (world.label(animal), footing_of(good.pk)) == ("verified male", "vouched")
    found_to_deceive(world, bad, other)
    assert world.label(animal) == "probable male"
    assert (footing_of(bad.pk), footing_of(good.pk)) == ("none", "none")
    with pytest.raises(Refused, match="vouched for somebody who deceived"):
        world.say(world.stan, "keeper_vouched", keeper("Next").pk, {})
    assert footing_of(world.stan.pk) == "founder"
    replays()


def test_what_a_deceit_owes_is_stated_by_the_beat_where_the_command_died(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    bad, animals = vouched(keeper("Bad"), world.now), [world.animal(tag) for tag in ("A1", "A2")]
    for animal in animals:
        world.call(world.odile, animal, "male")
        blind(world, animal, "male", bad)
        blind(world, animal, "male", keeper(f"New {animal.pk}"))
    failing, other = sorted(animals, key=lambda one: one.pk)
    with monkeypatch.context() as dying:
        dying.setattr(reassessing, "settle", failing_on(failing))
        with pytest.raises(ZeroDivisionError):
            found_to_deceive(world, bad, other)
    assert [world.label(one) for one in (failing, other)] == ["verified male", "probable male"]
    reassess_due(world.now)
    assert world.label(failing) == "probable male"
    assert reassess_due(world.now) == 0
    replays()


@pytest.mark.parametrize("in_time", [False, True])
def test_who_vouched_when_a_deceiver_spoke_answers_for_it_though_they_end_it(
    world: World, in_time: bool
) -> None:
    bad, animal = vouched(keeper("Bad"), world.now), world.animal("A1")
    if in_time:
        world.say(world.stan, "keeper_vouched", bad.pk, {"vouches": False})
    blind(world, animal, "male", bad)
    if not in_time:
        world.say(world.stan, "keeper_vouched", bad.pk, {"vouches": False})
    found_to_deceive(world, bad, animal)
    assert may_vouch(world.stan.pk) is in_time
    assert not may_vouch(world.fenna.pk)


# --- a newcomer's contrary call -------------------------------------------------------


def test_one_newcomer_fells_no_verified_sex_holds_offers_and_asks_for_a_recheck(
    world: World,
    animal: Animal,
) -> None:
    before, _ = assessment_of(animal)
    sale = world.draft(animal)
    world.offer(sale)
    blind(world, animal, "female", keeper("New"))
    after, _ = assessment_of(animal)
    assert (world.label(animal), after.p_male) == ("verified male", before.p_male)
    held = sale.steps.get(kind="sale_held")
    assert held.body["reason"] == "contrary_call_waits"
    letters = Letter.objects.filter(kind="recheck_asked")
    assert [one.to for one in letters] == [world.odile.email]
    assert not Letter.objects.filter(kind="standing_notice").exists()
    assert any("waits for an answer" in line.text for line in dossier(animal).lines)
    replays()


def test_a_second_voice_has_both_count(world: World, animal: Animal) -> None:
    blind(world, animal, "female", keeper("New"))
    blind(world, animal, "female", keeper("Newer"))
    assert world.label(animal) == "contested"
    assert len(last_stated(animal)["counted"]) == 1  # type: ignore[arg-type]
    assert assessment_of(animal)[0].p_male < 0.99
    replays()


def test_the_same_newcomer_again_is_no_second_voice(world: World, animal: Animal) -> None:
    new = keeper("New")
    for _ in range(2):
        blind(world, animal, "female", new)
    assert world.label(animal) == "verified male"


def test_the_same_newcomer_in_the_name_of_somebody_invented_is_no_second_voice(
    world: World,
    animal: Animal,
) -> None:
    new = keeper("New")
    blind(world, animal, "female", new)
    reported_by(world, new, animal)
    assert world.label(animal) == "verified male"
    blind(world, animal, "female", keeper("Newer"))
    assert world.label(animal) == "contested"
    replays()


def test_a_report_is_no_second_voice_until_whom_it_names_confirms_it(
    world: World, animal: Animal
) -> None:
    new = keeper("New")
    made, vet = reported_by(world, keeper("Newer"), animal)
    blind(world, animal, "female", new)
    reported_by(world, world.odile, animal)  # counts, as her word is known here; answers nothing
    assert Call.objects.filter(waits=True, wait_ended=None).count() == 2
    PractitionerAddress.objects.create(
        id=new_id(), practitioner=vet, email="vet@clinic.example", at=world.now
    )
    answer = world.item("report_answered", animal.pk, {"call": made, "answer": "confirmed"})
    accept_one(answer, Actor(practitioner=vet.pk), world.now)
    assert world.label(animal) != "verified male"
    assert not Call.objects.filter(waits=True, wait_ended=None).exists()
    replays()


def reported_by(world: World, who: Keeper, animal: Animal) -> tuple[str, Practitioner]:
    """They say that somebody they name found a female."""
    vet = Practitioner.objects.create(id=new_id(), named_by=who, name="Dr A. Lee")
    body = {"reported": {"role": "veterinarian", "who": str(vet.pk)}}
    visit = None if who == world.odile else world.visit(who, animal)
    return str(world.call(who, animal, "female", visit=visit, body=body).id), vet


def test_a_second_look_at_what_waits_is_not_blind(world: World, animal: Animal) -> None:
    new = keeper("New")
    body = probing("female", "V1") | {"visit": str(world.visit(new, animal))}
    world.push(new, *(world.item("call_made", animal.pk, body) for _ in range(2)))
    calls = animal.calls.filter(by=new.pk).order_by("position")
    assert list(calls.values_list("blind", flat=True)) == [True, False]


@pytest.mark.parametrize("deceived", [False, True])
def test_a_deceiver_neither_answers_a_newcomer_nor_sets_a_call_aside(
    world: World, deceived: bool
) -> None:
    animal, bad = world.verified("V1"), vouched(keeper("Bad"), world.now)
    blind(world, animal, "female", keeper("New"))
    blind(world, animal, "male", bad)
    waiting = Call.objects.get(conclusion="female")
    assert ground_against(waiting, None).exists()
    if deceived:
        found_to_deceive(world, bad, animal)
    assert ground_against(waiting, None).exists() is not deceived
    count_unanswered(world.now + timedelta(days=31))
    assert hasattr(Call.objects.get(conclusion="female"), "wait_ended") is deceived


@pytest.mark.parametrize("answered", [False, True])
def test_it_counts_after_thirty_days_unless_somebody_known_answered(
    world: World, animal: Animal, answered: bool
) -> None:
    blind(world, animal, "female", keeper("New"))
    if answered:
        blind(world, animal, "male", world.greta)
    count_unanswered(world.now + timedelta(days=29))
    assert world.label(animal) == "verified male"
    count_unanswered(world.now + timedelta(days=31))
    assert world.label(animal) == ("verified male" if answered else "contested")
    world.pass_time(days=32)
    world.call(world.odile, animal, "male")
    knew = Call.objects.get(by=world.odile.pk, animal=animal, anchored_to__isnull=False).anchored_to
    assert knew == ("male" if answered else "female"), "once it counts it is what was said last"
    replays()


def test_one_that_was_withdrawn_is_not_stated_hour_after_hour(world: World, animal: Animal) -> None:
    new = keeper("New")
    blind(world, animal, "female", new)
    call = str(Call.objects.get(conclusion="female").pk)
    world.say(new, "call_withdrawn", animal.pk, {"call": call})
    assert count_unanswered(world.now + timedelta(days=31)) == 0


def failing_on(animal: Animal) -> Callable[[Batch], None]:
    """What follows of this animal cannot be worked out."""

    def settle(batch: Batch) -> None:
        if animal.pk in batch.touched:
            raise ZeroDivisionError
        consequences.settle(batch)

    return settle


def test_a_fault_on_one_animal_keeps_no_other_waiting_to_be_counted(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    animals = [world.verified(tag) for tag in ("V1", "V2", "V3")]
    for animal in animals:
        blind(world, animal, "female", keeper(f"New {animal.pk}"))
    bad, *others = sorted(animals, key=lambda one: one.pk)
    monkeypatch.setattr(reassessing, "settle", failing_on(bad))
    with pytest.raises(ZeroDivisionError):
        count_unanswered(world.now + timedelta(days=31))
    assert [world.label(one) for one in others] == ["contested", "contested"]
    assert world.label(bad) == "verified male"


def test_a_newcomer_does_not_answer_a_newcomer(world: World, animal: Animal) -> None:
    blind(world, animal, "female", keeper("New"))
    blind(world, animal, "male", keeper("Newer"))
    count_unanswered(world.now + timedelta(days=31))
    assert Call.objects.get(conclusion="female").wait_ended


def test_it_counts_at_once_when_the_sex_falls_for_another_reason(
    world: World, animal: Animal
) -> None:
    blind(world, animal, "female", keeper("New"))
    for call in animal.calls.filter(conclusion="male"):
        world.say(
            Keeper.objects.get(pk=call.by), "call_withdrawn", animal.pk, {"call": str(call.pk)}
        )
    assert Call.objects.get(conclusion="female").wait_ended
    assert world.label(animal) == "probable female"
    replays()


# --- what people read -----------------------------------------------------------------


def test_a_seller_is_warned_that_nobody_behind_it_could_verify_a_sex_today(world: World) -> None:
    new = keeper("New")
    vouched(new, world.now)
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    blind(world, animal, "male", new)
    blind(world, animal, "male", keeper("Other"))
    assert world.label(animal) == "verified male"
    assert not rests_on_lost(animal.pk, "male")
    world.say(world.stan, "keeper_vouched", new.pk, {"vouches": False})
    world.say(world.fenna, "keeper_vouched", new.pk, {"vouches": False})
    assert rests_on_lost(animal.pk, "male")
    page = Browser(world.odile).open(f"/sales/{world.draft(animal).pk}/offer")
    assert "could verify one today" in page.text


def test_a_deceivers_older_call_and_their_own_page_say_that_a_finding_names_them(
    world: World,
) -> None:
    animal, bad = world.animal("A1"), vouched(keeper("Bad"), world.now)
    blind(world, animal, "male", bad)
    then = Entry.objects.latest("position").position
    found_to_deceive(world, bad, animal)
    assert [one.deceived for one in dossier(animal, then).calls] == [False]
    page = Browser(world.odile).open(f"/animals/{animal.pk}").text
    assert "A finding says that whoever sent it deceived" in page
    assert "vouched for whoever made it" not in page
    assert "A finding says that you deceived" in Browser(bad).open("/account/vouching").text


def test_nobody_without_a_footing_is_called_new(world: World, animal: Animal) -> None:
    world.offer(world.draft(animal))
    blind(world, animal, "female", keeper("New"))
    letters = Letter.objects.filter(kind__in=["recheck_asked", "sale_held"])
    assert {one.kind for one in letters} == {"recheck_asked", "sale_held"}
    told = [f"{written.subject} {written.body}" for written in map(compose, letters)]
    page = Browser(world.odile).open(f"/animals/{animal.pk}").text
    for text in (*told, page):
        assert re.search(r"word\W+(alone verifies|of whoever made it verified) nothing", text)
        assert not re.search(r"newcomer|new\s+(here|to\s+this)|nobody here knows", text)


def test_a_keeper_vouches_on_a_page(world: World) -> None:
    new = keeper("New")
    for who in (world.greta, world.stan):
        Browser(who).fill("/account/vouching", email=new.email, vouches="yes")
    assert footing_of(new.pk) == "vouched"
    assert "keepers here vouch for you" in Browser(new).open("/account/vouching").text
