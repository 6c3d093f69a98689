"""Each recipe of DEVELOPERS.md, followed once in a copy of the tree: the files that it lists are
all that a new thing touches, and one that is forgotten is named."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.house.gaps import RECIPES, ROOT
from tests.house.samples import SAMPLES

MOST = {"a method": 6, "a sale state": 6}
IGNORED = shutil.ignore_patterns("__pycache__", ".run", ".git", "vectors", "*.png")


def recipe(name: str) -> str:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    found = re.search(rf"^- \*\*{name}\*\*:(.*?)(?=^- \*\*|^#|\Z)", text, re.MULTILINE | re.DOTALL)
    assert found, f"DEVELOPERS.md has no recipe for {name}"
    return found[1]


def listed(name: str) -> list[str]:
    """The files and folders that the recipe names, as paths from the top."""
    said = re.findall(r"`([\w./-]+)`", recipe(name))
    places = [place for one in said for place in (ROOT / one, ROOT / "server/scalewitness" / one)]
    return [str(place.relative_to(ROOT)) for place in places if place.exists()]


@pytest.fixture(scope="session")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    top = tmp_path_factory.mktemp("tree")
    for folder in ("server", "clients", "deploy", "tests"):
        shutil.copytree(ROOT / folder, top / folder, ignore=IGNORED)
    return top


def gaps(tree: Path, name: str) -> tuple[bool, str]:
    """Whether nothing is lacking there; else what is, or what an import fails of."""
    done = subprocess.run(
        [sys.executable, "-B", "-m", "tests.house.gaps", name],
        cwd=tree,
        env=os.environ | {"PYTHONPATH": "server:clients:deploy:."},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    return done.returncode == 0, done.stdout or done.stderr.strip().rpartition("\n")[2]


def follow(tree: Path, name: str, but: str | None = None) -> None:
    for path, change in SAMPLES[name].items():
        place, kept = tree / path, ROOT / path
        before = kept.read_text("utf-8") if kept.exists() else ""
        place.parent.mkdir(exist_ok=True)
        if path != but:
            place.write_text(change(before), "utf-8")
        elif kept.exists():
            place.write_text(before, "utf-8")
        else:
            place.unlink(missing_ok=True)


def undo(tree: Path, name: str) -> None:
    for path in SAMPLES[name]:
        if (ROOT / path).exists():
            shutil.copy(ROOT / path, tree / path)
        else:
            (tree / path).unlink(missing_ok=True)


@pytest.mark.parametrize("name", RECIPES)
def test_nothing_there_lacks_anything(name: str) -> None:
    assert list(RECIPES[name]()) == []


@pytest.mark.parametrize("name", SAMPLES)
def test_the_files_of_the_recipe_are_all_that_is_touched(name: str, tree: Path) -> None:
    places = listed(name)
    for path in SAMPLES[name]:
        assert any(path == one or path.startswith(f"{one}/") for one in places), path
    assert len(SAMPLES[name]) <= MOST.get(name, 6)
    follow(tree, name)
    try:
        whole, said = gaps(tree, name)
    finally:
        undo(tree, name)
    assert whole, said


@pytest.mark.parametrize(
    ("name", "path"), [(name, path) for name in SAMPLES for path in SAMPLES[name]]
)
def test_a_file_that_is_forgotten_is_named(name: str, path: str, tree: Path) -> None:
    if len(SAMPLES[name]) == 1:
        return  # then nothing was begun
    follow(tree, name, but=path)
    try:
        whole, said = gaps(tree, name)
    finally:
        undo(tree, name)
    assert not whole
    module = path.removeprefix("server/").removesuffix(".py")
    named = module in said.replace(".", "/") or path in said or f"{Path(path).parent}:" in said
    assert named, said
