"""Reading CSV: whatever stands in a file, each of its lines is stored, told of or blank."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scalewitness.domain.tables.csvlines import LONGEST_CELL, lines_of
from scalewitness_cli import csvs
from scalewitness_cli.checks import BadWord
from scalewitness_cli.identity import Identity, fresh_id, keep_identity
from scalewitness_cli.main import cli
from scalewitness_cli.outbox import items
from scalewitness_cli.replica import put_collection
from scalewitness_cli.store import Store

pytestmark = pytest.mark.one_in(5)

HEAD = "tag,species,description"
URL = "http://127.0.0.1:1"
LINE_BREAKS = ("\n", "\r\n", "\r")
HOSTILE = st.lists(
    st.sampled_from(
        [
            *LINE_BREAKS, '"', '""', ",", "\x85", "\u2028", "\x0b", "\x0c", "\0", "\ufeff",
            "'", "=1", " ", "B1", "B2", "python_regius", 'eats 8" rats', "B3,python_regius,calm\n",
            'B4,python_regius,"two\nlines"\n', 'B5,python_regius,eats 8" rats\r\n', "x" * 9_000,
        ]
    ),
    max_size=40,
).map("".join)  # fmt: skip


def take(row: csvs.Row) -> list[Any]:
    if not row.get("tag"):
        raise BadWord("no tag")
    return [row]


def read(text: str) -> csvs.Read:
    return csvs.read(text, csvs.ANIMALS, ("species",), take)


def tags(text: str) -> list[str]:
    return [one.facts[0]["tag"] for one in read(text).good]


@given(HOSTILE)
@settings(max_examples=400)
def test_every_line_is_in_a_record_told_or_blank_and_in_one_only(text: str) -> None:
    found = read(f"{HEAD}\n{text}")
    spans = sorted((one.number, one.lines) for one in (*found.good, *found.bad))
    told = [line for _, lines in spans for line in lines]
    lines = lines_of(text)
    assert found.count == len(lines)
    assert told == [one for number, one in enumerate(lines, 2) if _is_told(number, spans)]
    assert "".join(lines) == text
    untold = [one for number, one in enumerate(lines, 2) if not _is_told(number, spans)]
    assert not "".join(untold).strip()
    assert len(untold) == found.blank


def _is_told(number: int, spans: list[tuple[int, tuple[str, ...]]]) -> bool:
    return any(first <= number < first + len(lines) for first, lines in spans)


def test_an_inch_mark_costs_nothing() -> None:
    text = f'{HEAD}\nI1,python_regius,\nI2,python_regius,eats 8" rats\nI3,python_regius,\n'
    assert tags(text) == ["I1", "I2", "I3"]
    assert read(text).good[1].facts[0]["description"] == 'eats 8" rats'


@pytest.mark.parametrize(
    "bad",
    [
        'I2,python_regius,"eats 8 rats',  # open to the end of the file
        'I2,python_regius,"8" rats',
        'I2,python_regius,"eats 8"" rats',
        '"I2,python_regius,',
    ],
)
@pytest.mark.parametrize(
    "after",
    [
        "I3,python_regius,\n",
        'I3,python_regius,"calm, shy"\n',  # would close it
        'I3,python_regius,eats 8"\n',  # would close it at the end of its line
        'I3,python_regius,"two\nlines"\n',
    ],
)
def test_a_quote_that_is_not_closed_costs_its_line_alone(bad: str, after: str) -> None:
    found = read(f"{HEAD}\nI1,python_regius,\n{bad}\n{after}I4,python_regius,\n")
    assert [one.facts[0]["tag"] for one in found.good] == ["I1", "I3", "I4"]
    assert [(one.number, one.lines) for one in found.bad] == [(3, (f"{bad}\n",))]
    assert "quote" in found.bad[0].why


@pytest.mark.parametrize("mark", ["\x85", "\u2028", "\u2029", "\x0b", "\x0c", "\x1c"])
def test_only_line_ends_end_a_line(mark: str) -> None:
    found = read(f"{HEAD}\nI1,python_regius,one{mark}two\nI2,python_regius,\n")
    assert [one.number for one in found.good] == [2, 3]
    assert found.good[0].facts[0]["description"] == f"one{mark}two"


@pytest.mark.parametrize("end", LINE_BREAKS)
def test_each_kind_of_line_end_is_one(end: str) -> None:
    assert tags(end.join([HEAD, "I1,python_regius,", "I2,python_regius,", ""])) == ["I1", "I2"]


def test_a_cell_with_a_nul_or_beyond_all_bounds_is_told() -> None:
    long = "x" * (LONGEST_CELL + 1)
    text = f"{HEAD}\nI1,python_regius,a\0b\nI2,python_regius,{long}\nI3,python_regius,\n"
    found = read(text)
    assert [one.number for one in found.bad] == [3 - 1, 3]
    assert tags(text) == ["I3"]


# --- the command, without a server ------------------------------------------------------


def signed_in(folder: Path) -> Store:
    """The store of somebody who keeps one collection."""
    store = Store(folder, URL)
    me = fresh_id()
    private = Ed25519PrivateKey.generate().private_bytes_raw().hex()
    identity = Identity(
        keeper=me, name="Odile", email="o@keepers.example", device=fresh_id(), device_name="rack",
        token="t", private=private, enrolment={},
    )  # fmt: skip
    keep_identity(store, identity)
    with store.change() as connection:
        put_collection(connection, {"id": fresh_id(), "role": "keeper"}, 0)
    return store


@given(HOSTILE)
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_the_command_prints_adds_up_and_what_it_tells_is_kept_as_it_stood(
    tmp_path: Path, text: str
) -> None:
    home = tmp_path / fresh_id()
    with signed_in(home / "data") as store:
        file = home / "in.csv"
        file.write_bytes(f"{HEAD}\n{text}".encode())
        rejected = home / "in.csv.rejected.csv"
        env = {"SCALEWITNESS_DATA": str(home / "data")}
        done = CliRunner(env=env).invoke(cli, ["import", "animals", str(file), "--json"])
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        found = json.loads(done.stdout)
        lines = lines_of(text)
        assert found["lines"] == len(lines)
        kinds = ("lines_stored", "lines_known", "lines_blank", "lines_bad")
        assert sum(found[one] for one in kinds) == len(lines)
        assert found["stored"] == len(items(store, "waiting"))
        assert done.exit_code == (1 if found["bad"] else 0)
        if found["bad"]:
            kept = lines_of(rejected.read_bytes().decode())
            assert kept[0] == f"{HEAD}\n"
            assert len(kept) - 1 == found["lines_bad"]
            assert set(kept[1:]) <= set(lines)
        else:
            assert not rejected.exists()
