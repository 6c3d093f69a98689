"""Cursors and merges as values."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.sync import (
    CURSOR_LIMIT,
    BadCursor,
    Clash,
    Cursor,
    Reached,
    SnapshotRun,
    merge,
    read_cursor,
    written,
)

COUNT = st.integers(0, 2**53 - 1)
MOMENT = st.integers(0, 250_000_000_000_000_000).map(lambda one: Reached(0, one).at)
REACHED = st.builds(Reached.of, COUNT, MOMENT)
RUN = st.builds(
    SnapshotRun, REACHED, st.sampled_from(["collections", "animals"]), st.none() | st.uuids()
)
CURSOR = st.builds(
    Cursor,
    epoch=st.binary(min_size=8, max_size=8),
    sight=REACHED,
    facts=COUNT,
    covered=COUNT,
    animals=COUNT,
    collections=COUNT,
    profile=COUNT,
    run=st.none() | RUN,
)
FIELDS = st.dictionaries(st.sampled_from("abc"), st.sampled_from(["x", "y", "z"]), min_size=1)
WHOLE = st.fixed_dictionaries({name: st.sampled_from(["x", "y", "z"]) for name in "abc"})


@given(CURSOR)
def test_a_cursor_is_read_as_it_was_written(cursor: Cursor) -> None:
    text = written(cursor)
    assert read_cursor(text) == cursor
    assert len(text) <= CURSOR_LIMIT
    assert text.replace("-", "").replace("_", "").isalnum()


@given(st.text() | st.text("ABCDEFabcdef-_", max_size=40))
def test_anything_else_is_no_cursor_and_no_surprise(text: str) -> None:
    try:
        read_cursor(text)
    except BadCursor:
        return
    raise AssertionError(text)


@given(CURSOR, st.data())
def test_a_cursor_cut_short_is_none(cursor: Cursor, data: st.DataObject) -> None:
    text = written(cursor)
    with pytest.raises(BadCursor):
        read_cursor(text[: data.draw(st.integers(0, len(text) - 2))])


def test_a_moment_comes_back_to_the_microsecond() -> None:
    at = datetime(2026, 11, 25, 9, 30, 0, 123_457, tzinfo=UTC)
    assert Reached.of(7, at).at == at
    assert Reached.of(7, at + timedelta(microseconds=1)).at > at
    assert SnapshotRun(Reached(1, 2), "animals", UUID(int=3)).after == UUID(int=3)


@given(WHOLE, WHOLE, FIELDS)
def test_a_merge_changes_what_one_side_set_and_nothing_else(
    base: dict[str, str], stands: dict[str, str], yours: dict[str, str]
) -> None:
    changes, clashes = merge(base, stands, yours)
    for name in yours:
        theirs_moved, yours_differs = base[name] != stands[name], yours[name] != stands[name]
        assert (name in clashes) == (theirs_moved and yours_differs)
        assert (name in changes) == yours_differs
    assert changes.keys() | clashes.keys() <= yours.keys()


def test_without_a_base_every_difference_is_for_people() -> None:
    changes, clashes = merge(None, {"a": "x", "b": "y"}, {"a": "x", "b": "z"})
    assert clashes == {"b": Clash(yours="z", stands="y")}
    assert changes == {"b": "z"}
