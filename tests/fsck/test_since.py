"""``fsck --since``: what came since is read, and of the rest nearly every change is noticed."""

import shutil
from contextlib import suppress
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from tests.fsck.tampering import TABLE, Tampering, a_call_row, as_superuser
from tests.world import World

from scalewitness.fsck import older, stretches
from scalewitness.fsck.reading import EntryRow, entries_between
from scalewitness.ledger.queries.tree import tip

UNSEEN = {"the_species_of_an_animal", "an_animal_in_another_visit", "a_photos_file", "a_text"}
"""Which alterations of what was checked before only a full check notices: rows that change in
place or have no position, texts and files."""


def since(file: Path) -> tuple[str, set[str]]:
    """As `fsck` in `test_fsck`."""
    err = StringIO()
    with suppress(CommandError):
        call_command("fsck", "--since", str(file), stdout=StringIO(), stderr=err)
    lines = err.getvalue().splitlines()
    return (lines[0] if lines else ""), {one.split(":")[0] for one in lines[1:]}


@pytest.fixture(scope="module")
def kept(story: World, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a full check of the story found."""
    file = tmp_path_factory.mktemp("kept") / "sound"
    call_command("fsck", "--since", str(file), stdout=StringIO())
    return file


@pytest.fixture
def sound(told: World, kept: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(kept, tmp_path))


def test_what_was_checked_is_not_read_again(
    told: World, sound: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, read = tip().size, list[int]()

    def noted(start: int, end: int) -> list[EntryRow]:
        read.extend(range(start, end))
        return entries_between(start, end)

    monkeypatch.setattr(stretches, "entries_between", noted)
    monkeypatch.setattr(older, "SHARE", 100)  # of another size than that of the digests kept
    assert since(sound) == ("", set())
    assert read == []
    told.call(told.odile, told.animal("S1"), "male")
    monkeypatch.undo()
    monkeypatch.setattr(stretches, "entries_between", noted)
    for first in (before, tip().size):
        read.clear()
        assert since(sound) == ("", set())
        assert read == list(range(first, tip().size))


@pytest.mark.usefixtures("told", "superuser")
@pytest.mark.parametrize("one", TABLE, ids=lambda one: one.change.__name__)
@pytest.mark.some(4)
def test_what_was_altered_of_it_is_noticed(sound: Path, one: Tampering) -> None:
    was = sound.read_bytes()
    one.change()
    first, _ = since(sound)
    assert (first == "") == (one.change.__name__ in UNSEEN)
    if first:
        assert sound.read_bytes() == was, "else it would pass for sound the next time"


@pytest.mark.usefixtures("superuser")
def test_what_came_since_is_checked_whole(told: World, sound: Path) -> None:
    told.call(told.odile, told.animal("S2"), "male", texts={"note": "calm"})
    as_superuser(
        "UPDATE ledger_text SET text = text || '!' WHERE fact = "
        "(SELECT id FROM calls_call ORDER BY position DESC LIMIT 1)",
        "UPDATE calls_standing SET label = 'verified male' WHERE position = "
        "(SELECT max(position) FROM calls_standing)",
    )
    assert since(sound)[1] == {"ledger_text", "calls_standing"}


@pytest.mark.usefixtures("told", "superuser")
def test_a_run_that_finds_something_keeps_nothing(tmp_path: Path) -> None:
    a_call_row()
    assert since(tmp_path / "sound")[1] == {"calls_call"}
    assert not (tmp_path / "sound").exists()


@pytest.mark.usefixtures("told")
def test_only_what_this_log_kept_is_gone_on_from(sound: Path) -> None:
    """Whoever can write the file, and not sign for the log, cannot pass a change off as checked."""
    whole = sound.read_bytes()
    for altered in (whole.replace(b'"size":', b'"size":1', 1), whole[:-9], b"{}"):
        sound.write_bytes(altered)
        with pytest.raises(CommandError, match="check from nothing"):
            call_command("fsck", "--since", str(sound), stdout=StringIO())
    with pytest.raises(CommandError, match="neither"):
        call_command("fsck", "--since", str(sound), "--only", "log")
