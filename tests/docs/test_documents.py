"""Every path, command, option, setting, name, link and anchor in the documents exists."""

import argparse
import importlib
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest
from django.core.management import get_commands, load_command_class
from django.http import Http404
from django.urls import resolve

from scalewitness.__main__ import WITHOUT_SETTINGS
from scalewitness.setting_up import answers
from scalewitness_cli.main import cli

ROOT = Path(__file__).parents[2]
FOLDERS = ("server", "deploy", "clients", "tests", "fixtures_demo")
DOCUMENTS = sorted(
    [*ROOT.glob("*.md"), *(one for folder in FOLDERS for one in (ROOT / folder).rglob("*.md"))]
)
SERVER = ROOT / "server" / "scalewitness"
BASES = (ROOT, SERVER, SERVER / "domain", SERVER / "pages", ROOT / "clients", ROOT / "server",
    ROOT / "clients" / "rackside", ROOT / "clients" / "scalewitness_cli")  # fmt: skip
"""Folders from which the documents name a path."""
SOURCES = {
    ".py",
    ".js",
    ".toml",
    ".html",
    ".css",
    ".sh",
    ".conf",
    ".txt",
    ".json",
    ".sql",
    ".yml",
    ".service",
    "",
}
FILE = re.compile(r"[\w./-]+\.(?:py|js|toml|md|sh|conf|lock|css|html)")
FOREIGN = {"application/octet-stream", "FILE.rejected.csv", "EXPLAIN", "PREPARE"}
"""Media types, files that a command makes, words of PostgreSQL's."""
HOSTS_OWN = ("/etc/", "/opt/", "/var/")
"""Folders of a host that runs the service: what is in them is not known here."""


@cache
def words() -> frozenset[str]:
    """Every word of the source, by which a name in a document must be found."""
    found: set[str] = set()
    for folder in (*FOLDERS, "pyproject.toml", ".ci"):
        paths = [ROOT / folder] if (ROOT / folder).is_file() else (ROOT / folder).rglob("*")
        for path in paths:
            here = path.parent == Path(__file__).parent
            if path.is_file() and path.suffix in SOURCES and not here:
                found |= set(re.findall(r"\w+", path.read_text(errors="ignore")))
                found |= set(re.findall(r"[\w]+(?:-[\w]+)+", path.read_text(errors="ignore")))
            found |= {path.name, path.stem}
    return frozenset(found)


@cache
def operators(name: str) -> argparse.ArgumentParser | None:
    """The arguments of ``python -m scalewitness NAME``."""
    if name in WITHOUT_SETTINGS:
        return answers.parser() if name == "init" else argparse.ArgumentParser()
    app = get_commands().get(name)
    if app is None:
        return None
    return load_command_class(str(app), name).create_parser("scalewitness", name)


def options_of(parser: argparse.ArgumentParser) -> set[str]:
    return set(parser._option_string_actions)


def client_options(name: str) -> set[str] | None:
    """The options of ``scalewitness NAME``, or of one that it groups, too."""
    command = cli.commands.get(name)
    if command is None:
        return None
    commands = [command, *(command.commands.values() if isinstance(command, click.Group) else ())]
    named = {option for one in commands for parameter in one.params for option in parameter.opts}
    return named | {"--help", "-h"}


def source_of(words: list[str]) -> Path | None:
    """The module behind ``./deploy/NAME``, ``python -m stack.NAME`` or ``python FILE``."""
    if words[0].startswith("./deploy/"):
        script = ROOT / words[0]
        module = script.is_file() and re.search(r"-m ((?:stack|cluster)\.\w+)", script.read_text())
        if not module:
            return script if script.is_file() else None
        found = ROOT / "deploy" / module.group(1).replace(".", "/")
        return found / "__main__.py" if found.is_dir() else found.with_suffix(".py")
    if words[1] == "-m":
        return ROOT / "deploy" / f"{words[2].replace('.', '/')}.py"
    return ROOT / words[1]


def command_faults(line: str) -> Iterator[str]:
    """What is wrong with one command, where it is one of ours."""
    said = re.split(r"\s#|[|;)]|&&|\$\(", line.strip())[0].split()
    options = {word.partition("=")[0] for word in said if re.match(r"--[a-z]", word)}
    if said[:3] == ["python", "-m", "scalewitness"]:
        yield from operators_faults(said[3], options)
    elif said[:1] == ["scalewitness-server"] or (
        said[:1] == ["./deploy/manage"] and said[1] != "COMMAND"
    ):
        yield from operators_faults(said[1], options)
    elif said[:1] == ["scalewitness"]:
        known = client_options(said[1])
        if known is None or options - known:
            yield f"no command of the client: {line}"
    elif re.match(r"\./deploy/|python (-m stack|deploy/)", " ".join(said)):
        source = source_of(said)
        if source is None or not source.is_file():
            yield f"no such command: {line}"
        else:
            text = source.read_text()
            yield from (f"{line}: no {one}" for one in sorted(options) if f'"{one}"' not in text)


def operators_faults(name: str, options: set[str]) -> Iterator[str]:
    parser = operators(name)
    if parser is None or options - options_of(parser):
        yield f"no management command: {name} {' '.join(sorted(options))}"


def some_command_has(option: str) -> bool:
    ours = [name for name, app in get_commands().items() if str(app).startswith("scalewitness")]
    parsers = [operators(name) for name in ours]
    if any(option in options_of(one) for one in parsers if one):
        return True
    if any(option in (client_options(name) or ()) for name in cli.commands):
        return True
    scripts = [*(ROOT / "deploy").rglob("*.py"), *(ROOT / "tests" / "plugins").glob("*.py")]
    return any(f'"{option}"' in path.read_text() for path in scripts)


def path_exists(path: str, document: Path) -> bool:
    path, _, test = path.partition("::")
    places = [base / path for base in (document.parent, *BASES)]
    found = [one for one in places if one.exists()]
    if not found and "/" not in path:
        found = [one for folder in FOLDERS for one in (ROOT / folder).rglob(path)]
    return bool(found) and all(test in one.read_text() for one in found if test)


def dotted_exists(name: str) -> bool:
    """Whether a module has it, or, of a class, whether the source knows both."""
    first, *rest = name.split(".")
    if not (SERVER / first).exists() and not (SERVER / f"{first}.py").exists():
        return {first, *rest} <= words()
    parts = ["scalewitness", first, *rest]
    for cut in range(len(parts), 1, -1):
        try:
            found: object = importlib.import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for part in parts[cut:]:
            found = getattr(found, part, None)
        return found is not None or {first, *rest} <= words()
    return False


def address_exists(path: str) -> bool:
    for one in (path, path.rstrip("/") + "/", path.rstrip("/") + "/some"):
        try:
            resolve(one)
        except Http404:
            continue
        return True
    return False


PATH = re.compile(rf"{FILE.pattern}(?:::\w+)?|[\w.-]+/[\w./-]*")
COMMAND = re.compile(r"(?:python|scalewitness) .*|\./deploy/.*")
OPTION = re.compile(r"(--[a-z][\w-]*).*")
ADDRESS = re.compile(r"/[a-z][\w/.-]*")
DOTTED = re.compile(r"[A-Za-z_]\w*(?:\.[A-Za-z_]\w*)+")
NAME = re.compile(r"([A-Za-z_][\w-]*)(?:=\S*)?")


def quoted_faults(quoted: str, document: Path) -> Iterator[str]:
    """What is wrong with one thing in backticks."""
    if quoted in FOREIGN or quoted.startswith(".run"):
        return
    if COMMAND.fullmatch(quoted):
        yield from command_faults(quoted)
    elif not named_exists(quoted, document):
        yield f"not found: {quoted}"


def named_exists(quoted: str, document: Path) -> bool:
    """Of what looks like none of these, nothing is known."""
    if option := OPTION.fullmatch(quoted):
        return some_command_has(option.group(1))
    if ADDRESS.fullmatch(quoted):
        return quoted.startswith(HOSTS_OWN) or address_exists(quoted)
    if PATH.fullmatch(quoted):
        return path_exists(quoted, document)
    if DOTTED.fullmatch(quoted):
        return dotted_exists(quoted)
    name = NAME.fullmatch(quoted)
    return name is None or name.group(1) in words()


def anchors(document: Path) -> set[str]:
    heads = re.findall(r"(?m)^#+ (.+)$", document.read_text())
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


def link_faults(target: str, document: Path) -> Iterator[str]:
    if "://" in target:
        return
    path, _, anchor = target.partition("#")
    linked = document.parent / path if path else document
    if not linked.exists():
        yield f"no such file: {target}"
    elif anchor and anchor not in anchors(linked):
        yield f"no such heading: {target}"


def faults(text: str, document: Path) -> list[str]:
    """All that a document says wrongly."""
    found: list[str] = []
    for block in re.findall(r"(?ms)^```sh\n(.*?)^```", text):
        for line in block.replace("\\\n", " ").splitlines():
            found += command_faults(line)
    prose = re.sub(r"(?ms)^```.*?^```", "", text)
    for quoted in re.findall(r"`([^`\n]+(?:\n[^`\n]+)?)`", prose):
        found += quoted_faults(" ".join(quoted.split()), document)
    for target in re.findall(r"\]\(([^)\s]+)\)", prose):
        found += link_faults(target, document)
    return found


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda one: str(one.relative_to(ROOT)))
def test_what_a_document_names_exists(document: Path) -> None:
    assert faults(document.read_text(), document) == []


@pytest.mark.parametrize(
    "wrong",
    [
        "`server/nowhere.py`", "`intake/no_such_room/`", "`nowhere_at_all.py`", "`no/such`",
        "`tests/world.py::test_that_is_not_there`", "`./deploy/nothing`", "`./deploy/demo --twice`",
        "`python -m scalewitness fsk`", "`python -m scalewitness fsck --onli log`",
        "`python -m stack.nothing`", "`python deploy/bench/nothing.py`",
        "`python deploy/bench/sync.py --pears X`", "`./deploy/manage reply`", "`scalewitness sink`",
        "`scalewitness sync --folow`", "`--no-such-option`", "`NO_SUCH_SETTING`", "`no_such_name`",
        "`intake.services.no_such_name`", "`NoSuchClass`", "`/no/such/address`",
        "[a](nowhere.md)", "[a](README.md#no-such-heading)", "[a](#no-such-heading)",
        "```sh\n./deploy/demo --twice   # and again\n```", "```sh\nscalewitness sink --json\n```",
        "```sh\npython -m scalewitness fsk\n```",
    ],
)  # fmt: skip
def test_what_does_not_exist_is_found(wrong: str) -> None:
    assert faults(f"\n{wrong}\n", ROOT / "x.md") != []


def test_the_readme_has_at_most_8_kb() -> None:
    assert len((ROOT / "README.md").read_bytes()) <= 8_000


def test_the_drawing_of_the_house_has_the_layers_that_are_enforced() -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    (layers,) = [one["layers"] for one in contracts["contracts"]
                 if one.get("containers") == ["scalewitness"]]  # fmt: skip
    house = (ROOT / "DEVELOPERS.md").read_text().partition("\n## The house\n")[2]
    drawn = re.search(r"(?ms)^```text\n(.*?)^```", house)
    assert drawn is not None
    assert [line.strip() for line in drawn.group(1).splitlines()] == layers
