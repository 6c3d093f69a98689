"""A time put right: what may be claimed by it, and who reads of it."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from tests.world import World, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.domain.clocks import correction_in_words, span_in_words
from scalewitness.domain.facts import Corrected
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.pages.animals.evidence import by_name
from scalewitness.standings.queries.dossier import dossier

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
BEHIND = timedelta(days=2)


def corrected(world: World, at: datetime, **other: str) -> dict[str, str]:
    """As by a device whose clock is two days behind."""
    made = {"read": rfc3339(at - BEHIND), "offset": "172800", "measured_at": rfc3339(world.now)}
    return made | other


def say(world: World, animal: Animal, at: datetime, said: Any, **more: Any) -> Outcome:
    body = probing("male", tag_of(animal)) | {"corrected": said} | more
    (outcome,) = world.push(world.greta, world.item("call_made", animal.pk, body, at=at))
    return outcome


def visited(world: World) -> tuple[Animal, str]:
    animal = world.animal("A1")
    visit = str(world.visit(world.greta, animal))
    world.pass_time(hours=1)
    return animal, visit


def test_a_corrected_time_is_in_the_log_with_what_the_clock_said(world: World) -> None:
    animal, visit = visited(world)
    outcome = say(world, animal, world.now, corrected(world, world.now), visit=visit)
    entry = Entry.objects.get(position=outcome.position)
    assert leaf_of(entry).body["corrected"] == corrected(world, world.now)
    assert (entry.claimed_at, entry.flags) == (world.now, [])


def test_facts_without_a_correction_have_the_bytes_they_always_had(world: World) -> None:
    animal = world.animal("A1")
    for kind, body in (
        ("call_made", probing("male", "A1")),
        ("husbandry_noted", {"noted": {"type": "weight", "grams": "500"}}),
    ):
        outcome = world.say(world.odile, kind, animal.pk, body)
        assert b"corrected" not in bytes(Entry.objects.get(position=outcome.position).leaf)


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"offset": "172799"}, "out_of_range"),
        ({"offset": "0"}, "wrong_shape"),
        ({"offset": "+5"}, "wrong_shape"),
        ({"offset": "99999999999"}, "wrong_shape"),
        ({"offset": "9999999999"}, "out_of_range"),
        ({"read": "2026-02-31T09:00:00.000Z"}, "out_of_range"),
        ({"read": "2026-11-01 09:00"}, "wrong_shape"),
        ({"read": "9999-12-31T23:59:59.000Z"}, "out_of_range"),
        ({"measured_at": "2026-11-01T10:06:00.000Z"}, "future_date"),
        ({"measured_at": "2024-11-01T10:00:00.000Z"}, "out_of_range"),
        ({"measured_at": "2026-13-01T10:00:00.000Z"}, "out_of_range"),
        ({"why": "flat battery"}, "wrong_shape"),
    ],
)
def test_a_correction_that_does_not_add_up_is_refused(
    world: World, wrong: dict[str, str], code: str
) -> None:
    animal, visit = visited(world)
    outcome = say(world, animal, world.now, corrected(world, world.now, **wrong), visit=visit)
    assert outcome.problem is not None
    assert outcome.problem["code"] == code
    assert outcome.problem["errors"][0]["pointer"].startswith("/body/corrected")


def test_a_correction_gives_no_leave_that_the_time_alone_does_not(world: World) -> None:
    animal, visit = visited(world)
    for at in (world.now - timedelta(days=3), world.now + timedelta(days=2)):
        plain = {"visit": visit} | probing("male", tag_of(animal))
        (alone,) = world.push(world.greta, world.item("call_made", animal.pk, plain, at=at))
        outcome = say(world, animal, at, corrected(world, at), visit=visit)
        assert alone.problem is not None
        assert outcome.problem == alone.problem  # not found; more than a day ahead


def test_a_correction_leaves_a_blind_check_blind(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "female")
    visit = str(world.visit(world.greta, animal))
    say(world, animal, world.now, corrected(world, world.now), visit=visit)
    assert animal.calls.get(by=world.greta.pk).blind


def test_weights_and_meals_are_corrected_alike_and_the_log_bears_all_out(world: World) -> None:
    animal = world.animal("A1")
    noted = {"noted": {"type": "weight", "grams": "640"}}
    body = noted | {"corrected": corrected(world, world.now)}
    assert world.say(world.odile, "husbandry_noted", animal.pk, body).status == "accepted"
    visit = str(world.visit(world.greta, animal))
    say(world, animal, world.now, corrected(world, world.now), visit=visit)
    call_command("fsck", stdout=StringIO(), stderr=StringIO())  # raises at any difference


def test_whoever_reads_a_corrected_time_is_told_how_it_came_about(world: World) -> None:
    animal, visit = visited(world)
    say(world, animal, world.now, corrected(world, world.now), visit=visit)
    (shown,) = by_name(dossier(animal))
    assert shown.flags == (
        "The time was corrected: the device's clock said 30 October 2026, 10:00 UTC and was "
        "2 days behind, as measured by the record's clock on 1 November 2026, 10:00 UTC.",
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (172_800, "2 days"), (-97_200, "1 day and 3 hours"), (2_400, "40 minutes"),
        (61, "1 minute and 1 second"), (1, "1 second"), (0, "0 seconds"), (86_460, "1 day"),
        (172_799, "2 days"), (86_399, "1 day"), (3_629, "1 hour"),
    ],
)  # fmt: skip
def test_spans_are_told_to_the_two_largest_units(seconds: int, words: str) -> None:
    assert span_in_words(timedelta(seconds=seconds)) == words


def test_a_clock_ahead_is_told_as_ahead() -> None:
    said = Corrected(
        read=rfc3339(datetime(2026, 11, 3, 9, tzinfo=UTC)),
        offset="-172800",
        measured_at=rfc3339(datetime(2026, 11, 1, 9, tzinfo=UTC)),
    )
    assert "2 days ahead" in correction_in_words(said)
