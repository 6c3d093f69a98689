"""What a person names to be written to stays what it is."""

import os
import stat
from pathlib import Path
from threading import Thread

import pytest

from scalewitness_cli.outfiles import write_out
from scalewitness_cli.remote import Stopped


def test_a_regular_file_is_replaced_whole_and_keeps_who_may_read_it(tmp_path: Path) -> None:
    file = tmp_path / "out.csv"
    file.write_text("before, and longer")
    file.chmod(0o600)
    inode = file.stat().st_ino
    write_out(file, "after")
    assert file.read_text() == "after"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert file.stat().st_ino != inode, "old or new after any crash, nothing between"
    assert list(tmp_path.iterdir()) == [file]


def test_a_link_is_written_through(tmp_path: Path) -> None:
    real, link = tmp_path / "real.csv", tmp_path / "link.csv"
    real.write_text("before, and longer")
    link.symlink_to(real)
    write_out(link, "after")
    assert link.is_symlink()
    assert real.read_text() == "after"


def test_a_pipe_is_written_to(tmp_path: Path) -> None:
    pipe, got = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = Thread(target=lambda: got.append(pipe.read_bytes()))
    reader.start()
    write_out(pipe, b"through")
    reader.join(timeout=30)
    assert got == [b"through"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_device_stays_one_and_its_fault_is_told() -> None:
    if not Path("/dev/full").is_char_device():
        pytest.skip("no such device here")
    with pytest.raises(Stopped, match="No space left"):
        write_out(Path("/dev/full"), "lost")
    assert Path("/dev/full").is_char_device()
    write_out(Path("/dev/null"), "nowhere")
    assert Path("/dev/null").is_char_device()


def test_no_folder_is_made_for_a_name_mistyped(tmp_path: Path) -> None:
    with pytest.raises(Stopped, match="no folder"):
        write_out(tmp_path / "typo" / "out.csv", "x")
    assert list(tmp_path.iterdir()) == []
