"""The shell commands around the stack: finding Python, the locks, the README's test command."""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).parents[2]
LOCKS = {
    "requirements.lock": ("server", "local", "objects"),
    "requirements-dev.lock": ("server", "local", "objects", "dev"),
}


def script(path: Path, text: str) -> None:
    path.write_text(text)
    path.chmod(0o755)


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A PATH with next to nothing on it."""
    programs = tmp_path / "bin"
    programs.mkdir()
    for name in ("sh", "dirname"):
        (programs / name).symlink_to(shutil.which(name) or name)
    return programs


def demo_help(path: Path) -> subprocess.CompletedProcess[str]:
    command = [str(ROOT / "deploy" / "demo"), "--help"]
    return subprocess.run(
        command, env={"PATH": str(path)}, capture_output=True, text=True, check=False
    )


def test_no_python_new_enough_is_said_with_what_was_found(bare: Path) -> None:
    script(bare / "python3", '#!/bin/sh\n[ "$1" = -V ] && echo Python 3.9.2\nexit 1\n')
    answer = demo_help(bare)
    assert answer.returncode == 2
    assert "needs Python 3.11 or later" in answer.stderr
    assert "Python 3.9.2" in answer.stderr


def test_a_python_that_cannot_make_environments_names_the_debian_package(bare: Path) -> None:
    script(
        bare / "python3",
        '#!/bin/sh\ncase "$2" in *ensurepip*) exit 1 ;; *print*) echo 3.12 ;; esac\n',
    )
    answer = demo_help(bare)
    assert answer.returncode == 2
    assert "apt-get install python3.12-venv" in answer.stderr


def test_an_environment_that_is_a_link_is_not_emptied(tmp_path: Path) -> None:
    """Made from another lock, it serves whoever it belongs to."""
    (tmp_path / "theirs").mkdir()
    (tmp_path / "theirs" / "made-from").write_text("another lock")
    (tmp_path / "ours").symlink_to(tmp_path / "theirs")
    given = (ROOT / "deploy" / "requirements.lock", tmp_path / "ours", "true")
    command = [sys.executable, str(ROOT / "deploy" / "bootstrap.py"), *map(str, given)]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (answer.returncode, "Remove that link." in answer.stderr) == (1, True), answer
    assert (tmp_path / "theirs" / "made-from").read_text() == "another lock"


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_meets_what_pyproject_asks_and_names_no_index(name: str) -> None:
    lines = (ROOT / "deploy" / name).read_text().splitlines()
    locked = [Requirement(line.rstrip("\\")) for line in lines if line[:1].isalnum()]
    pins = {one.name: str(one.specifier).removeprefix("==") for one in locked}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = list(project["dependencies"])
    for extra in LOCKS[name]:
        asked += project["optional-dependencies"][extra]

    for requirement in map(Requirement, asked):
        pinned = pins.get(requirement.name.lower())
        assert pinned is not None, f"{requirement} is not locked: run ./deploy/lock"
        assert Version(pinned) in requirement.specifier, f"{requirement}: run ./deploy/lock"
    assert [line for line in lines if "://" in line or line.startswith("-")] == []
    assert sum("--hash=sha256:" in line for line in lines) >= len(pins)


def run_ci(folder: Path, readme: str) -> subprocess.CompletedProcess[str]:
    (folder / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", folder / ".ci" / "run")
    (folder / "README.md").write_text(readme)
    command = [str(folder / ".ci" / "run")]
    return subprocess.run(command, capture_output=True, text=True, check=False, env=os.environ)


def test_ci_runs_the_command_the_readme_gives(tmp_path: Path) -> None:
    readme = "# Hello\n```\nfalse\n```\n<!-- test-command -->\n```sh\necho checked; exit 5\n```\n"
    answer = run_ci(tmp_path, readme)
    assert answer.returncode == 5
    assert answer.stdout.splitlines()[-1] == "checked"


def test_ci_fails_loudly_without_the_mark(tmp_path: Path) -> None:
    answer = run_ci(tmp_path, "# Hello\n```sh\n./deploy/test\n```\n")
    assert answer.returncode == 1
    assert "nothing was tested" in answer.stderr
