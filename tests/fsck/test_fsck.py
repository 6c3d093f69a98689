"""``fsck``: nothing in a sound record, every change a superuser can make in another."""

import sys
from contextlib import suppress
from datetime import timedelta
from io import StringIO
from pathlib import Path
from uuid import UUID

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection
from tests.fsck.tampering import (
    TABLE,
    Tampering,
    a_call_row,
    a_draft,
    all_rows_of,
    as_superuser,
    everything_that_tells,
    one_byte_of_a_leaf,
    the_head,
    turn_a_late_call,
)
from tests.world import World

from scalewitness.domain.errors import Refused
from scalewitness.domain.facts import BODIES
from scalewitness.fsck import run as running
from scalewitness.fsck import stretches
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections import PROJECTIONS
from scalewitness.fsck.reading import EntryRow, entries_between, facts_in
from scalewitness.fsck.run import Mark
from scalewitness.fsck.tables import APART, KEPT, TABLES
from scalewitness.ledger.models import AppendOnly, Checkpoint, Entry
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.guard import limit_runtime_role
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.replay import SpanReplayed, replay_span
from scalewitness.standings.queries.rules_as_of import Rests
from scalewitness.standings.queries.surroundings import AnimalSpan, surroundings
from stack.postgres import APP


def fsck(*more: str) -> tuple[str, set[str]]:
    """The first difference, and all stores that differ; empty when nothing does."""
    err = StringIO()
    with suppress(CommandError):
        call_command("fsck", *more, stdout=StringIO(), stderr=err)
    lines = err.getvalue().splitlines()
    if not lines:
        return "", set()
    return lines[0].removeprefix("first difference: "), {one.split(":")[0] for one in lines[1:]}


# --- a sound record -------------------------------------------------------------------


def test_every_kind_of_fact_is_covered() -> None:
    assert PROJECTIONS.keys() == BODIES.keys()


def test_every_table_of_facts_is_covered() -> None:
    facts = {model for model in apps.get_models() if issubclass(model, AppendOnly)}
    assert {table.model for table in TABLES} | set(APART) == facts | set(KEPT)


def test_the_story_says_every_kind_and_every_column_is_compared(told: World) -> None:
    assert set(Entry.objects.values_list("kind", flat=True)) == set(BODIES)
    said = facts_in(entries_between(0, tip().size))
    rows = [row for one in said for row in PROJECTIONS[one.kind](one, Past(said))]
    for table in TABLES:
        told_of = [set(row.values) for row in rows if row.model is table.model]
        assert set().union(*told_of) == set(table.columns), table.store
        if table.model not in KEPT:
            assert all(names == set(table.columns) for names in told_of), table.store


@pytest.mark.parametrize("stretch", [256, 7, 100_000])
@pytest.mark.some(1)
def test_a_sound_record_has_no_difference(
    told: World, monkeypatch: pytest.MonkeyPatch, stretch: int
) -> None:
    monkeypatch.setattr(stretches, "STRETCH", stretch)
    out, err = StringIO(), StringIO()
    call_command("fsck", stdout=out, stderr=err)
    assert f"{tip().size} entries" in out.getvalue()
    assert err.getvalue() == ""


@pytest.mark.usefixtures("superuser")
def test_the_runtime_role_may_run_it(told: World) -> None:
    limit_runtime_role(connection, APP)
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {APP}")
    assert fsck() == ("", set())


class Terminal(StringIO):
    def isatty(self) -> bool:
        return True


def test_a_bar_on_a_terminal(told: World, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = Terminal()
    monkeypatch.setattr(sys, "stderr", seen)
    call_command("fsck", "--only", "log", stdout=StringIO())
    size = tip().size
    assert seen.getvalue().endswith(f"entries [{'#' * 40}] {size}/{size}\n")


# --- one that was tampered with -------------------------------------------------------


@pytest.mark.usefixtures("superuser")
@pytest.mark.parametrize("one", TABLE, ids=lambda one: one.change.__name__)
@pytest.mark.some(6)
def test_it_is_found(told: World, one: Tampering) -> None:
    position = one.change()
    first, stores = fsck()
    assert first.startswith(f"position {position}: {one.store}: "), first
    assert one.says in first
    assert stores == {one.store, *one.also}


@pytest.mark.usefixtures("superuser")
def test_it_exits_1(told: World) -> None:
    the_head()
    with pytest.raises(CommandError, match="1 stores differ") as differs:
        call_command("fsck", "--only", "log", stdout=StringIO(), stderr=StringIO())
    assert differs.value.returncode == 1


@pytest.mark.usefixtures("superuser")
def test_only_what_others_keep_tells_of_a_whole_new_history(told: World, tmp_path: Path) -> None:
    kept = tmp_path / "checkpoint"
    kept.write_text(Checkpoint.objects.order_by("-size")[0].note)
    assert fsck("--against", str(kept)) == ("", set())
    position = everything_that_tells()
    assert fsck() == ("", set())
    first, stores = fsck("--against", str(kept))
    assert first == f"position {position}: {kept}: not the root of the first {position} entries"
    assert stores == {str(kept)}


@pytest.mark.usefixtures("superuser")
@pytest.mark.parametrize(
    ("part", "finds"), [("log", "ledger_head"), ("rows", "calls_call"), ("standings", None)]
)
def test_one_part_alone(told: World, part: str, finds: str | None) -> None:
    a_call_row()
    the_head()
    assert fsck("--only", part)[1] == ({finds} if finds else set())


# --- stopped and gone on with ---------------------------------------------------------


class Stopped(Exception):
    pass


@pytest.fixture
def stopped(told: World, superuser: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A run over a tampered log that was killed after its second stretch."""
    monkeypatch.setattr(stretches, "STRETCH", 100)
    one_byte_of_a_leaf()

    def keep(file: Path, mark: Mark) -> None:
        running.keep_mark(file, mark)
        if mark.position == 200:
            raise Stopped

    file = tmp_path / "place"
    command = "scalewitness.fsck.management.commands.fsck"
    with monkeypatch.context() as killed:
        killed.setattr(f"{command}.keep_mark", keep)
        with pytest.raises(Stopped):
            call_command("fsck", "--resume", str(file), stdout=StringIO(), stderr=StringIO())
    return file


def test_it_goes_on_where_it_stopped(stopped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = fsck()
    read: list[int] = []

    def noted(start: int, end: int) -> list[EntryRow]:
        read.append(start)
        return entries_between(start, end)

    monkeypatch.setattr(stretches, "entries_between", noted)
    assert fsck("--resume", str(stopped)) == whole
    assert read == list(range(200, tip().size, 100))
    assert not stopped.exists()


@pytest.mark.usefixtures("superuser")
def test_no_standing_is_left_out_where_the_log_grew_after_it_stopped(
    told: World, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The animals are parted anew then, elsewhere than where it stopped."""
    command, file = "scalewitness.fsck.management.commands.fsck", tmp_path / "place"
    only = ("--only", "standings", "--resume", str(file))
    alone = sorted(set(standing_animals()) - surroundings(tip().size).together.keys())
    place, after = alone[len(alone) // 2], alone[len(alone) // 2 :]

    def keep(file: Path, mark: Mark) -> None:
        running.keep_mark(file, mark)
        raise Stopped

    with monkeypatch.context() as killed:
        killed.setattr(f"{command}.keep_mark", keep)
        killed.setattr(running, "bounds", lambda size: [place])
        with pytest.raises(Stopped):
            call_command("fsck", *only, stdout=StringIO(), stderr=StringIO())
    monkeypatch.setattr(running, "bounds", lambda size: [alone[0], alone[-1]])
    as_superuser("UPDATE calls_standing SET label = 'hermaphrodite'")
    found: list[UUID] = []

    def noted(rests: Rests, size: int, since: int, span: AnimalSpan) -> SpanReplayed:
        replayed = replay_span(rests, size, since, span)
        found.extend(one.animal for one in replayed.differences)
        return replayed

    monkeypatch.setattr(running, "replay_span", noted)
    assert fsck(*only)[1] == {"calls_standing"}
    assert set(found) & set(alone) == set(after)


def standing_animals() -> list[UUID]:
    return list(Standing.objects.values_list("animal", flat=True))


def test_another_run_s_place_is_refused(stopped: Path, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="run over log, rows, standings"):
        call_command("fsck", "--only", "log", "--resume", str(stopped))
    stopped.write_text("{}")
    with pytest.raises(CommandError, match="not hold the place"):
        call_command("fsck", "--resume", str(stopped))
    with pytest.raises(CommandError, match="not a checkpoint of this log"):
        call_command("fsck", "--against", str(stopped))


LEAVES = sorted(
    {one.store for one in TABLES if one.model not in KEPT}
    - {field.related_model._meta.db_table for one in TABLES for field in one.model._meta.fields
       if field.related_model is not None}
)  # fmt: skip
"""Tables that no other refers to: each can be lost by itself."""


def test_tables_that_are_lost_are_told_row_by_row(told: World, superuser: None) -> None:
    for table in LEAVES:
        all_rows_of(table)
    first, stores = fsck()
    assert "has no row" in first
    assert stores == set(LEAVES)


@pytest.mark.long(
    "each loss is read through by itself; "
    "tests/fsck/test_fsck.py::test_tables_that_are_lost_are_told_row_by_row"
)
@pytest.mark.parametrize("table", LEAVES)
def test_a_table_that_is_lost_is_told_row_by_row(told: World, superuser: None, table: str) -> None:
    all_rows_of(table)
    first, stores = fsck()
    assert f"{table}: " in first
    assert "has no row" in first
    assert stores == {table}


def test_what_neither_log_nor_books_hold_is_not_missed(told: World, superuser: None) -> None:
    """A sale that was drafted and not offered, since the books were closed."""
    a_draft(told)
    assert fsck() == ("", set())


@pytest.mark.usefixtures("superuser")
def test_a_late_call_that_was_altered_while_it_waited_is_not_admitted(
    told: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(told, "now", told.now)
    animal = told.animal("L9")
    visit = told.visit(told.stan, animal, days=1)
    at = told.now + timedelta(hours=2)
    told.pass_time(days=16)
    held = told.call(told.stan, animal, "male", visit=visit, at=at)
    turn_a_late_call(str(held.id))
    decision = {"held": held.id, "admitted": True}
    with pytest.raises(Refused, match="does not continue"):
        told.say(told.odile, "late_call_decided", animal.pk, decision)
    assert not Entry.objects.filter(kind="late_call_decided", about=animal.pk).exists()
