"""Where a server that refuses root keeps its files when its account cannot reach the folder."""

import shutil
from pathlib import Path

import pytest

from stack import unprivileged


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(unprivileged, "ELSEWHERE", tmp_path)
    return tmp_path


def test_a_closed_parent_folder_is_seen(tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    (closed / "data").mkdir(parents=True)
    closed.chmod(0o700)
    assert not unprivileged.reachable(closed / "data")
    assert unprivileged.reachable(Path("/usr/bin"))


def test_a_stand_in_goes_when_its_folder_is_gone(elsewhere: Path) -> None:
    kept, gone = elsewhere / "kept", elsewhere / "gone"
    stand_ins = []
    for folder in (kept, gone):
        folder.mkdir()
        stand_ins.append(unprivileged.folder_elsewhere(folder))
    assert [each.stat().st_mode & 0o777 for each in stand_ins] == [0o711, 0o711]
    shutil.rmtree(gone)

    assert unprivileged.folder_elsewhere(kept) == stand_ins[0]

    assert [each.exists() for each in stand_ins] == [True, False]


def test_a_stand_in_that_is_a_link_is_refused(elsewhere: Path) -> None:
    folder = elsewhere / "folder"
    folder.mkdir()
    unprivileged.stand_in_for(folder).symlink_to("/etc")
    with pytest.raises(PermissionError, match="somebody else"):
        unprivileged.folder_elsewhere(folder)


def test_a_program_is_opened_to_all_without_making_data_runnable(tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    tree.mkdir()
    program, text, outside = tree / "program", tree / "text", tmp_path / "outside"
    for path, mode in ((program, 0o700), (text, 0o600), (outside, 0o600)):
        path.touch()
        path.chmod(mode)
    (tree / "link").symlink_to(outside)

    unprivileged.open_for_all(tree)

    modes = [path.stat().st_mode & 0o777 for path in (program, text, outside)]
    assert modes == [0o755, 0o644, 0o600]
