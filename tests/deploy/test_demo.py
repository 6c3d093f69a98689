"""What the demo says before it starts anything."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from stack import demo
from stack.ready import free_port
from stack.runfolder import FolderBusy, RunFolder


@pytest.fixture
def taken() -> Iterator[int]:
    """A port somebody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield int(server.getsockname()[1])


def test_a_taken_port_is_named_with_the_option_that_helps(
    tmp_path: Path, taken: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert demo.main(["--data", str(tmp_path / "run"), "--port", str(taken)]) == 2
    said = capsys.readouterr().err
    assert f"Port {taken} is taken" in said
    assert "--port" in said


def test_a_second_demo_on_the_same_folder_names_the_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = RunFolder(tmp_path / "run")
    first.note("process 123, http://127.0.0.1:8000")

    assert demo.main(["--data", str(tmp_path / "run"), "--port", str(free_port())]) == 2

    assert "process 123, http://127.0.0.1:8000" in capsys.readouterr().err
    os.close(first.lock)


def test_a_folder_of_other_things_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "letters.txt").write_text("mine")
    assert demo.main(["--data", str(tmp_path), "--fresh", "--port", str(free_port())]) == 2
    assert "holds other files" in capsys.readouterr().err
    assert [each.name for each in tmp_path.iterdir()] == ["letters.txt"]


def test_stories_need_the_letters_so_they_refuse_another_mail_host(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("EMAIL_URL", "smtp://mail.example:25")
    data = str(tmp_path / "run")
    assert demo.main(["--once", "--data", data, "--port", str(free_port())]) == 2
    assert "EMAIL_URL" in capsys.readouterr().err


def test_starting_over_deletes_the_demos_data_and_nothing_else(tmp_path: Path) -> None:
    folder = RunFolder(tmp_path / "run")
    for part in ("postgres", "mail"):
        (folder.path / part).mkdir()
        (folder.path / part / "old").write_text("old")
    (folder.path / "secret_key").write_text("old")
    (folder.path / "notes.txt").write_text("a person's own")

    folder.clear()

    assert {each.name for each in folder.path.iterdir()} == {"demo.lock", "notes.txt"}
    with pytest.raises(FolderBusy):
        RunFolder(folder.path)
    os.close(folder.lock)
