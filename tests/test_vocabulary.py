"""One word for each thing, as server/GLOSSARY.md has it."""

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[1]
GLOSSARY = HOUSE / "server" / "GLOSSARY.md"
# Names that Django looks for: one in each module or class.
DJANGO_S = {"Command", "Meta", "Media"}
# Words that once stood in names for an answer, a statement, a recipient, a timeout, an attempt.
PRIVATE = {"told", "telling", "said", "saying", "patience", "tries", "matter", "redrawn"}
# Names that are formats: of a fact's body, of a column, of what the command prints as JSON.
FORMATS = {
    "CallMade.told",
    "CallForm.told",
    "TogetherForm.told",
    "TOLD",
    "Noted.told",
    "Item.said",
    "Announced.told",
    "DeliveryReport.said",
    "ConfirmationCode.tries",
}


def rows() -> list[list[str]]:
    lines = [one for one in GLOSSARY.read_text().splitlines() if one.startswith("| ")]
    cells = [[cell.strip() for cell in one.strip("|").split("|")] for one in lines]
    return [one for one in cells if one[0] != "word"]


def phrases() -> list[str]:
    return [one.strip() for row in rows() for one in row[2].split(";") if one.strip()]


INSTEAD_OF = re.compile(
    r"(?<![\w-])(?:"
    + "|".join(re.escape(one).replace(r"\ ", r"\s+") for one in phrases())
    + r")(?![\w-])",
    re.IGNORECASE,
)


def shown_by_python(path: Path) -> str:
    """The texts of a module: its strings, broken ones put together, without docstrings."""
    tree = ast.parse(path.read_text())
    bare = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    inner = {
        id(part)
        for node in ast.walk(tree)
        if isinstance(node, ast.JoinedStr)
        for part in node.values
    }
    texts = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (one.value if isinstance(one, ast.Constant) else "…" for one in node.values)
            texts.append("".join(str(one) for one in parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            texts.append("" if id(node) in bare | inner else node.value)
    return "\n".join(texts)


def shown_by_javascript(path: Path) -> str:
    """The texts of a module, without its comments; only what has more than one word."""
    source = re.sub(r"/\*.*?\*/|^\s*//.*?$", "", path.read_text(), flags=re.DOTALL | re.MULTILINE)
    return "\n".join(re.findall(r'"[^"\n]* [^"\n]*"|`[^`]* [^`]*`', source))


READ = {
    ".html": Path.read_text,
    ".txt": Path.read_text,
    ".md": Path.read_text,
    ".py": shown_by_python,
    ".js": shown_by_javascript,
}


def shown() -> Iterator[tuple[Path, str]]:
    """What people read, by file: templates, messages, documents."""
    inside = [one for part in ("server", "clients") for one in sorted((HOUSE / part).rglob("*"))]
    documents = [one for one in HOUSE.rglob("*.md") if not any(p[0] == "." for p in one.parts)]
    for path in {*inside, *documents} - {GLOSSARY}:
        if path.suffix in READ and "migrations" not in path.parts:
            yield path, READ[path.suffix](path)


def test_no_text_uses_a_phrase_that_the_glossary_replaces() -> None:
    used = [
        f"{path.relative_to(HOUSE)}: “{found[0]}”"
        for path, text in shown()
        for found in INSTEAD_OF.finditer(text)
    ]
    assert not used, "server/GLOSSARY.md has other words for:\n" + "\n".join(used)


@pytest.mark.parametrize(
    "text", ["Let someone\nin", "It came to rest.", ">Leave it<", "the record moved twice"]
)
def test_a_phrase_is_found_however_its_line_is_broken(text: str) -> None:
    assert INSTEAD_OF.search(text)


@pytest.mark.parametrize(
    "text",
    [
        "Leave it alone, or let it be.",
        "She told me that it moved.",
        "Try again; he said so.",
        "the outlet in the wall",
        "Checks of the animal",
    ],
)
def test_no_plain_english_verb_is_banned(text: str) -> None:
    assert not INSTEAD_OF.search(text)


def test_each_word_has_one_meaning() -> None:
    words = [word.strip() for row in rows() for word in row[0].split(",")]
    assert len(words) == len(set(words))
    assert all(row[1] for row in rows())
    assert len(words) > 40


def classes(path: Path) -> Iterator[tuple[str, bool]]:
    """The name of each class of a module, qualified where nested, and whether it is a table."""

    def within(node: ast.AST, prefix: str) -> Iterator[tuple[str, bool]]:
        for one in ast.iter_child_nodes(node):
            if isinstance(one, ast.ClassDef):
                if one.name not in DJANGO_S:
                    yield prefix + one.name, path.name == "models.py"
                yield from within(one, f"{prefix}{one.name}.")
            else:
                yield from within(one, prefix)

    yield from within(ast.parse(path.read_text()), "")


def test_no_two_classes_share_a_name_but_a_table_and_its_value() -> None:
    found: defaultdict[str, list[tuple[Path, bool]]] = defaultdict(list)
    for path in sorted((HOUSE / "server").rglob("*.py")):
        if "migrations" not in path.parts:
            for name, table in classes(path):
                found[name].append((path.relative_to(HOUSE), table))
    twice = {
        name: [str(path) for path, _ in places]
        for name, places in found.items()
        if len(places) > 1 and sorted(table for _, table in places) != [False, True]
    }
    assert not twice


def names(path: Path) -> Iterator[str]:
    """What a module calls itself and all that it defines: classes, functions, their arguments,
    variables. Those of a class are qualified by it."""
    yield path.stem

    def within(node: ast.AST, prefix: str) -> Iterator[str]:
        for one in ast.iter_child_nodes(node):
            if isinstance(one, ast.ClassDef):
                yield one.name
                yield from within(one, f"{one.name}.")
                continue
            if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef):
                yield one.name
            elif isinstance(one, ast.arg):
                yield one.arg
            elif isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store):
                yield prefix + one.id
            elif isinstance(one, ast.Attribute) and ast.unparse(one.value) == "self":
                yield one.attr
            yield from within(one, "" if isinstance(one, ast.FunctionDef) else prefix)

    yield from within(ast.parse(path.read_text()), "")


def private(name: str) -> bool:
    """Whether a word of the name, however it is written, is one of PRIVATE."""
    words = re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])", name.rpartition(".")[2])
    return not PRIVATE.isdisjoint(word.lower() for word in words)


def test_no_name_in_code_is_a_private_word() -> None:
    found = defaultdict[str, set[str]](set)
    for part in ("server", "clients", "deploy"):
        for path in sorted((HOUSE / part).rglob("*.py")):
            if "migrations" not in path.parts:
                for name in filter(private, names(path)):
                    found[name].add(str(path.relative_to(HOUSE)))
    assert found.keys() == FORMATS, {name: found[name] for name in found.keys() - FORMATS}


@pytest.mark.parametrize(
    ("name", "is_private"),
    [
        ("CallTold", True),
        ("told_by", True),
        ("_said", True),
        ("MOST_TRIES", True),
        ("QUEUE_PATIENCE", True),
        ("saying", True),
        ("Soldier", False),
        ("notify_buyer", False),
        ("entries", False),
        ("retries", False),
    ],
)
def test_a_private_word_is_found_in_a_name_however_it_is_written(
    name: str, is_private: bool
) -> None:
    assert private(name) is is_private
