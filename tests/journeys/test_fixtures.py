"""The demo's scenario holds what it promises; checked on the data, without a server."""

import re
from collections import Counter
from datetime import date, timedelta
from typing import get_args
from uuid import UUID

import msgspec
import pytest
from fixtures_demo.envelopes import Envelopes, Fact
from fixtures_demo.fixed import Calendar, fixed_id
from fixtures_demo.scenario import Scenario
from fixtures_demo.selling import COURSE

from scalewitness.domain import facts
from scalewitness.domain.identifiers import parse_tag, parse_transponder
from scalewitness.domain.ids import is_uuid7
from scalewitness.domain.observations import Harm, Method, Probing, Sureness
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.intake.ranges import LONGEST_VISIT, check_ranges

FIRST_RUN = date(2026, 11, 25)


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return Scenario()


@pytest.fixture(scope="module")
def calendar() -> Calendar:
    return Calendar(FIRST_RUN)


@pytest.fixture(scope="module")
def sent(scenario: Scenario, calendar: Calendar) -> list[Fact]:
    """Every fact the loader sends as it builds it, on a server that numbered its keepers."""
    keepers = {key: str(UUID(int=n, version=4)) for n, key in enumerate(scenario.keepers)}
    build = Envelopes(scenario, calendar, keepers)
    found = [fact for one in scenario.collections.values() for fact in build.animals(one)]
    found += [build.grant(grant) for grant in scenario.grants.values()]
    for visit in scenario.visits.values():
        window = calendar.moment(visit.opens), calendar.moment(visit.closes)
        found.append(build.invitation(visit, *window))
        if visit.answer and visit.answered:
            found.append(build.visit_step(visit, f"visit_{visit.answer}", visit.answered))
        if visit.ended:
            found.append(build.visit_step(visit, "visit_cancelled", visit.ended))
    found += [fact for batch in scenario.batches.values() for fact in build.calls(batch)]
    found += [build.withdrawal(one) for one in scenario.withdrawals]
    found += [build.statement(one) for one in scenario.statements.values()]
    return found + [build.objection(one) for one in scenario.objections]


# --- as much as promised --------------------------------------------------------------


def test_it_is_large_enough(scenario: Scenario) -> None:
    assert len(scenario.keepers) >= 5
    assert 2 <= len(scenario.collections) <= 3
    assert len(scenario.animals) >= 30
    assert len(scenario.calls) >= 80
    assert len(scenario.visits) >= 8


def test_species_of_the_trade_and_not_only_pythons(scenario: Scenario) -> None:
    genera = {taxon(animal.species).scientific.split()[0] for animal in scenario.animals.values()}
    assert {"Python", "Boa", "Pantherophis", "Lampropeltis", "Heterodon"} <= genera
    assert {"Morelia", "Thamnophis"} <= genera


def test_every_method_is_used(scenario: Scenario) -> None:
    used = {call.observed["method"] for call in scenario.calls.values()}
    assert used == set(get_args(Method))


NOT_PLAYED = {
    "corrected particulars": "particulars_corrected",
    "a trait inherited with sex": "linkage_stated",
    "an animal that is there again": "end_corrected",
    "a report denied or confirmed by whom it names": "report_answered",
    "young that somebody else saw": "witness_stated",
    "a statement taken back": "witness_withdrawn",
    "a late call that its host decides on": "late_call_decided",
    "an animal lent or moved": "custody_changed",
    "a code taken back": "identifier_withdrawn",
    "two records of one snake": "joining_proposed",
    "two records that were none": "parting_proposed",
    "an answer to either": "joining_answered",
    "an animal registered in error": "registered_in_error",
    "a pairing of two keepers' animals": "pairing_agreed",
    "a plan whose ground moved, which a story plays": "plan_affected",
}
"""Facts about animals and calls that the scenario has no story for yet."""


def test_every_fact_about_animals_and_calls_is_played_or_known_not_to_be(
    sent: list[Fact],
) -> None:
    stated = {fact["kind"] for fact in sent}
    kinds = facts.animals.BODIES.keys() | facts.calls.BODIES.keys()
    assert kinds - stated - {"pairing_dropped"} == set(NOT_PLAYED.values())


def test_photos_are_compared_by_somebody_else_and_an_ended_animal_has_a_story(
    scenario: Scenario,
) -> None:
    (compared,) = [s for s in scenario.statements.values() if s.kind == "photos_compared"]
    sender = {key: batch.by for batch in scenario.batches.values() for key, _ in batch.keyed()}
    assert compared.by not in {sender[compared.call or ""], scenario.keeper_of(compared.animal)}
    photos = [scenario.statements[key] for key in compared.photos.values()]
    assert all(one.file and one.animal == compared.animal for one in photos)
    ends = [s.animal for s in scenario.statements.values() if s.kind == "animal_ended"]
    sold = {animal for sale in scenario.sales.values() for animal in sale.animals}
    assert ends
    assert not sold & set(ends), "nobody is sold a dead snake in the demo"


def test_calls_of_every_kind(scenario: Scenario) -> None:
    calls = scenario.calls.values()
    roles = {call.reported["role"] for call in calls if call.reported}
    assert roles == {"veterinarian", "laboratory", "earlier_keeper"}
    sureness = {call.sureness for call in calls} | {b.sureness for b in scenario.batches.values()}
    assert set(get_args(Sureness)) <= sureness
    assert {call.conclusion for call in calls} == {"male", "female", "undetermined"}
    assert any(set(call.harm) & set(get_args(Harm)) for call in calls)
    manners = {call.observed["manner"] for call in calls if call.observed["method"] == "eversion"}
    assert manners == {"manual", "spontaneous"}
    assert any(
        call.observed["method"] == "ultrasound"
        and (call.reported or {}).get("role") == "veterinarian"
        for call in calls
    )
    assert any(call.observed.get("event") == "laid_eggs" for call in calls)
    stops = {one["stopped"] for call in calls for one in call.observed.get("passes", [])}
    assert stops == {"resistance", "choice", "aborted"}


def test_blind_visits_and_owner_calls(scenario: Scenario) -> None:
    blind = [b for b in scenario.batches.values() if b.visit and scenario.visits[b.visit].blind]
    own = [batch for batch in scenario.batches.values() if not batch.visit]
    assert sum(len(batch.call) for batch in blind) >= 25
    assert sum(len(batch.call) for batch in own) >= 25


def test_withdrawals_objections_and_conflicts(scenario: Scenario) -> None:
    assert scenario.withdrawals
    assert scenario.objections
    gone = {one.call for one in scenario.withdrawals}
    probed = Counter(
        (call.animal, call.conclusion)
        for key, call in scenario.calls.items()
        if call.observed["method"] == "probing" and key not in gone
    )
    torn = [key for key in scenario.animals if probed[key, "male"] and probed[key, "female"]]
    assert {"hazel", "nettle", "moss", "fern", "ash"} <= set(torn)


def test_somebody_was_never_checked(scenario: Scenario) -> None:
    assert set(scenario.animals) - {call.animal for call in scenario.calls.values()} == {"clove"}


def test_the_swapped_siblings(scenario: Scenario) -> None:
    """Alike, and on the last visit the reader gave each the other's code."""
    moss, fern = scenario.animals["moss"], scenario.animals["fern"]
    assert (moss.species, moss.hatched, moss.traits) == (fern.species, fern.hatched, fern.traits)
    read = {
        call.animal: call.identified["code"]
        for call in scenario.batches["tobias-at-oskarby"].call
        if call.identified
    }
    assert read == {"moss": fern.transponder, "fern": moss.transponder}


def test_sales_as_promised(scenario: Scenario) -> None:
    until = Counter(sale.until for sale in scenario.sales.values())
    assert until["offered"] == 2
    assert until["handed_over"] == 1
    for sale in scenario.sales.values():
        bought = COURSE.index(sale.until) >= COURSE.index("confirmed")
        assert bought == (sale.buyer_keeper in scenario.keepers)


def test_notes_that_matter_for_welfare(scenario: Scenario) -> None:
    notes = [note.noted for animal in scenario.animals.values() for note in animal.notes]
    assert {note["type"] for note in notes} == {"weight", "meal", "shed", "health"}
    assert {"gravid", "under_treatment", "injured"} <= {n.get("sign") for n in notes}
    assert any(animal.hold_off for animal in scenario.animals.values())
    fed = [
        note.at
        for animal in scenario.animals.values()
        for note in animal.notes
        if note.noted["type"] == "meal" and note.noted["taken"] and note.at.startswith("-1d")
    ]
    assert fed, "somebody was fed too recently to be checked"


# --- nobody real ----------------------------------------------------------------------


def test_addresses_lead_nowhere(scenario: Scenario) -> None:
    """RFC 2606, 2: .example is reserved for documentation."""
    addresses = [keeper.email for keeper in scenario.keepers.values()]
    addresses += [sale.buyer.email for sale in scenario.sales.values()]
    assert all(re.fullmatch(r"[a-z.]+@[a-z.]+\.example", address) for address in addresses)
    assert len({keeper.email for keeper in scenario.keepers.values()}) == len(scenario.keepers)


NO_COUNTRY = 3
"""ISO 3166-1 gives 004 as its first; UN M49 has 003 for a continent."""


def test_transponders_are_nobodys_codes_and_no_code_is_shared(scenario: Scenario) -> None:
    codes = [a.transponder for a in scenario.animals.values() if a.transponder]
    others = [one for code in codes if not (one := parse_transponder(code)).is_test]
    assert [one.country for one in others] == [NO_COUNTRY], "for the check that is refiled"
    tags = [animal.tag for animal in scenario.animals.values()]
    assert [parse_tag(tag) for tag in tags] == tags
    assert len(set(codes + tags)) == len(codes + tags)


# --- everything refers to something ---------------------------------------------------


def test_people_and_places_resolve(scenario: Scenario) -> None:
    keepers, collections = scenario.keepers.keys(), scenario.collections.keys()
    assert {one.keeper for one in scenario.collections.values()} <= keepers
    assert {one.named_by for one in scenario.practitioners.values()} <= keepers
    assert set(scenario.home.values()) == set(collections)
    for grant in scenario.grants.values():
        assert grant.to in keepers
        assert grant.collection in collections
        assert all(scenario.home[animal] == grant.collection for animal in grant.animals or ())


def test_parents_are_registered_before_their_young(scenario: Scenario) -> None:
    seen: set[str] = set()
    for key, animal in scenario.animals.items():
        parents = {parent for parent in (animal.sire, animal.dam) if parent}
        assert {parent for parent in parents if scenario.home[parent] == scenario.home[key]} <= seen
        seen.add(key)


def test_reported_calls_name_someone_the_sender_named(scenario: Scenario) -> None:
    reported = 0
    for batch in scenario.batches.values():
        for call in batch.call:
            if call.reported:
                reported += 1
                assert scenario.practitioners[call.reported["who"]].named_by == batch.by
    assert reported >= 5


def test_remarks_are_by_the_right_people(scenario: Scenario) -> None:
    sender = {key: batch.by for batch in scenario.batches.values() for key, _ in batch.keyed()}
    assert all(sender[one.call] == one.by for one in scenario.withdrawals)
    assert all(sender[one.call] != one.by for one in scenario.objections)


def test_guests_check_what_they_were_invited_to_while_they_were(
    scenario: Scenario, calendar: Calendar
) -> None:
    for batch in scenario.batches.values():
        if batch.visit is None:
            continue
        visit = scenario.visits[batch.visit]
        assert batch.by == visit.guest
        assert visit.answer == "accepted"
        until = calendar.at(visit.ended or visit.closes)
        for call in batch.call:
            assert call.animal in visit.animals
            assert calendar.at(visit.opens) <= calendar.at(call.at) <= until


def test_visits_can_be_invited_to_on_the_first_run(scenario: Scenario, calendar: Calendar) -> None:
    for visit in scenario.visits.values():
        opens, closes = calendar.at(visit.opens), calendar.at(visit.closes)
        assert opens < closes <= opens + LONGEST_VISIT
        assert closes.date() > FIRST_RUN
        assert len(set(visit.animals)) == len(visit.animals)


# --- the program ----------------------------------------------------------------------


def test_every_part_is_played_once(scenario: Scenario) -> None:
    played: dict[str, list[str]] = {}
    for step in scenario.steps:
        played.setdefault(step.do, []).append(step.what)
    assert sorted(played["register"]) == sorted(scenario.collections)
    assert sorted(played["visit"]) == sorted(scenario.visits)
    assert sorted(played["calls"]) == sorted(scenario.batches)
    assert sorted(played["sale"]) == sorted(scenario.sales)
    assert set(played["grants"]) == {grant.collection for grant in scenario.grants.values()}
    ended = {key for key, visit in scenario.visits.items() if visit.ended}
    assert set(played["after"]) == ended
    authors = {one.by for one in scenario.withdrawals} | {one.by for one in scenario.objections}
    assert sorted(played["remarks"]) == sorted(authors)
    assert sorted(played["states"]) == sorted(scenario.statements)


def test_the_last_step_tells_the_first_keeper_that_all_is_loaded(scenario: Scenario) -> None:
    last = scenario.steps[-1]
    assert last.do == "calls"
    assert scenario.batches[last.what].by == scenario.first_keeper.key
    assert scenario.home[scenario.calls[scenario.last_call].animal] in {
        key for key, one in scenario.collections.items() if one.keeper == scenario.first_keeper.key
    }


# --- what is sent ---------------------------------------------------------------------


def test_every_fact_has_the_shape_and_range_the_record_takes(
    sent: list[Fact], calendar: Calendar
) -> None:
    received = calendar.at("+0d 00:00") + timedelta(minutes=1)
    for fact in sent:
        body = msgspec.convert(fact["body"], facts.BODIES[fact["kind"]])
        check_ranges(body, received)
        assert fact["kind"] not in facts.SYSTEM_KINDS
        assert fact["at"] < calendar.moment("+0d 00:00"), "claimed times lie in the past"


def test_ids_are_uuid7_and_no_two_facts_share_one(sent: list[Fact]) -> None:
    ids = [fact["id"] for fact in sent]
    assert all(is_uuid7(one) for one in ids)
    assert len(set(ids)) == len(ids)


def test_ids_are_the_same_on_every_run() -> None:
    """A value written down once: loading again after an update must meet the same ids."""
    assert fixed_id("animal", "saffron") == "01a19467-e800-7bd8-b03a-1596cd549d7e"


def test_probed_depths_are_given_for_both_sides_or_say_why_not(sent: list[Fact]) -> None:
    probed = 0
    for fact in sent:
        observed = fact["body"].get("observed", {})
        if observed.get("method") != "probing":
            continue
        passes = msgspec.convert(observed, Probing).passes
        probed += 1
        whole = {one.side for one in passes} == {"left", "right"}
        aborted = {one.stopped for one in passes} == {"aborted"}
        reported = "reported" in fact["body"] and not passes
        assert whole or aborted or reported, fact
    assert probed >= 40


# --- times ----------------------------------------------------------------------------


def test_the_calendar_counts_from_the_first_run() -> None:
    calendar = Calendar(date(2026, 3, 1))
    assert calendar.day("-1d") == "2026-02-28"
    assert calendar.moment("+2d 18:30") == "2026-03-03T18:30:00.000Z"


@pytest.mark.parametrize("text", ["40d 18:30", "-40 18:30", "-40d", "-40d 1830", "yesterday"])
def test_the_calendar_refuses_other_spellings(text: str) -> None:
    with pytest.raises(ValueError, match="not a moment"):
        Calendar(FIRST_RUN).at(text)
