"""Each recipe of DEVELOPERS.md, followed once in a copy of the tree: the files that it lists are
all that a new thing touches, and one that is forgotten is named."""

import compileall
import os
import py_compile
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from tests.house.gaps import RECIPES, ROOT
from tests.house.samples import SAMPLES
from tests.plugins.services import OWN
from tests.turns import turns
from tests.waiting import killed_at_the_end

SHARE = 3
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


ADDRESSES = {
    "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none",
    "REDIS_URL": "redis://127.0.0.1:1/0",
    OWN: "",
}
"""Of servers that nobody asks."""

LOADED = """
import os, runpy, sys, traceback
import celery, cryptography, django.db.models, httpx, numpy, PIL.Image, psycopg_pool, redis
import rest_framework, scipy.optimize, scipy.special, structlog, typst

for name in sys.stdin:
    if not (child := os.fork()):
        sys.argv[1:] = [name.strip()]
        status = 1
        os.dup2(os.open("said", os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 1)
        try:
            runpy.run_module("tests.house.gaps", run_name="__main__")
        except SystemExit as end:
            status = int(end.code or 0)
        except BaseException:
            traceback.print_exc(file=sys.stdout)
        sys.stdout.flush()
        os._exit(status)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
"""What others made is loaded once, the tree anew for each change, in a process of its own."""


@dataclass(frozen=True)
class Tree:
    """A copy of the tree, and the process that looks for gaps in it."""

    top: Path
    process: "subprocess.Popen[str]"

    def gaps(self, name: str) -> tuple[bool, str]:
        """Whether nothing is lacking there; else what is, or what an import fails of."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(f"{name}\n")
        self.process.stdin.flush()
        status = int(self.process.stdout.readline())
        said = (self.top / "said").read_text("utf-8").strip()
        return status == 0, said.rpartition("\n")[2] if "Traceback" in said else said


@pytest.fixture(scope="session")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tree]:
    top = tmp_path_factory.mktemp("tree")
    for folder in ("server", "clients", "deploy", "tests"):
        shutil.copytree(ROOT / folder, top / folder, ignore=IGNORED)
    # By its hash a module that was changed is known, however soon after; nothing is written (-B).
    compileall.compile_dir(
        top / "server", quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH
    )
    process = subprocess.Popen(
        [sys.executable, "-B", "-c", LOADED],
        cwd=top,
        env=os.environ | ADDRESSES | {"PYTHONPATH": "server:clients:deploy:."},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with killed_at_the_end(process):
        yield Tree(top, process)


def follow(tree: Tree, name: str, but: str | None = None) -> None:
    for path, change in SAMPLES[name].items():
        place, kept = tree.top / path, ROOT / path
        before = kept.read_text("utf-8") if kept.exists() else ""
        place.parent.mkdir(exist_ok=True)
        if path != but:
            place.write_text(change(before), "utf-8")
        elif kept.exists():
            place.write_text(before, "utf-8")
        else:
            place.unlink(missing_ok=True)


def undo(tree: Tree, name: str) -> None:
    for path in SAMPLES[name]:
        if (ROOT / path).exists():
            shutil.copy(ROOT / path, tree.top / path)
        else:
            (tree.top / path).unlink(missing_ok=True)


@pytest.mark.parametrize("name", RECIPES)
def test_nothing_there_lacks_anything(name: str) -> None:
    assert list(RECIPES[name]()) == []


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.some(2)
def test_the_files_of_the_recipe_are_all_that_is_touched(name: str, tree: Tree) -> None:
    places = listed(name)
    for path in SAMPLES[name]:
        assert any(path == one or path.startswith(f"{one}/") for one in places), path
    assert len(SAMPLES[name]) <= MOST.get(name, 6)
    follow(tree, name)
    try:
        whole, said = tree.gaps(name)
    finally:
        undo(tree, name)
    assert whole, said


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.some(2)
def test_files_that_are_forgotten_are_named(
    name: str, tree: Tree, request: pytest.FixtureRequest
) -> None:
    """Each is forgotten alone: of a recipe's an ordinary run forgets one in three."""
    if len(SAMPLES[name]) == 1:
        return  # then nothing was begun
    asked = turns(request.config, SHARE)
    for path in (one for one in SAMPLES[name] if next(asked)):
        is_named_if_forgotten(tree, name, path)


def is_named_if_forgotten(tree: Tree, name: str, path: str) -> None:
    follow(tree, name, but=path)
    try:
        whole, said = tree.gaps(name)
    finally:
        undo(tree, name)
    assert not whole, path
    module = path.removeprefix("server/").removesuffix(".py")
    named = module in said.replace(".", "/") or path in said or f"{Path(path).parent}:" in said
    assert named, said
