"""Which tests reach which line, from the coverage of each test by itself."""

import ast
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TypeGuard

from coverage import CoverageData

Lines = dict[str, list[str]]
Reach = dict[str, dict[str, Lines]]
"""By file, qualified name of a function and line of it, from 0: the tests that run it. Line numbers
of a file shift with each edit; those within a function seldom do."""
WALKS = frozenset(f"tests/{one}.py" for one in ("api/test_matrix", "pages/test_matrix",
    "pages/test_not_yours", "api/test_not_yours", "pages/test_who_sees_what"))  # fmt: skip
"""They walk over everything, so they come last."""
PURE = ("tests/domain/", "tests/clients/")
"""Tests of values and of files of one's own: quick, and beside the rule they are of."""
OUTSIDE = ""
"""The name of what no function holds."""


def reach_of(data: CoverageData, root: Path, files: list[str]) -> Reach:
    """``files``: relative to ``root``, as are the files of the data."""
    return {path: _of_file(data, root, path) for path in files}


def _of_file(data: CoverageData, root: Path, path: str) -> dict[str, Lines]:
    names = Names((root / path).read_text(encoding="utf-8"))
    found: dict[str, Lines] = {}
    for line, contexts in data.contexts_by_lineno(path).items():
        if tests := sorted({one.partition("|")[0] for one in contexts if one}):
            name, within = names.at(line)
            found.setdefault(name, {})[str(within)] = tests
    return found


def joined(known: Reach, new: Reach) -> Reach:
    """What is new, and of what was known that of all other files of tests."""
    again = {_file(one) for *_, tests in _each(new) for one in tests}
    found: Reach = {}
    for reach, left_out in ((new, frozenset[str]()), (known, again)):
        for path, name, line, tests in _each(reach):
            lines = found.setdefault(path, {}).setdefault(name, {})
            lines.setdefault(line, []).extend(one for one in tests if _file(one) not in left_out)
    return found


def _each(reach: Reach) -> Iterator[tuple[str, str, str, list[str]]]:
    for path, named in reach.items():
        for name, lines in named.items():
            for line, tests in lines.items():
                yield path, name, line, tests


def _file(test: str) -> str:
    return test.partition("::")[0]


class Names:
    """What stands where in a source: the outermost function, by line, and which line of it."""

    def __init__(self, source: str) -> None:
        tree = ast.parse(source)
        self.spans = list(_functions(tree))
        self.making = {one.name for one in tree.body if _makes_functions(one)}
        """Functions that make others: what they made before stays as it was."""

    def at(self, line: int) -> tuple[str, int]:
        """Lines of a function's head (defaults, decorators) run when it is made: outside."""
        for name, first, last in self.spans:
            if first <= line <= last:
                return name, line - first
        return OUTSIDE, line


def _makes_functions(node: ast.stmt) -> TypeGuard[ast.FunctionDef]:
    inner = (one for one in ast.walk(node) if one is not node)
    return isinstance(node, ast.FunctionDef) and any(isinstance(o, ast.FunctionDef) for o in inner)


def _functions(node: ast.AST, within: str = "") -> Iterator[tuple[str, int, int]]:
    for one in ast.iter_child_nodes(node):
        if isinstance(one, ast.FunctionDef):
            yield f"{within}{one.name}", one.body[0].lineno, one.end_lineno or one.lineno
        elif isinstance(one, ast.ClassDef):
            yield from _functions(one, f"{within}{one.name}.")


def naming(root: Path, source: str, line: int, left_out: tuple[str, ...]) -> list[str]:
    """The files of tests that most often name what stands at that line, outside of functions: a
    test of a table or a limit may run no line of its module. At most three (our judgement), those
    of values alone first. ``left_out``: how the names of others begin."""
    words = {name for node in ast.parse(source).body if _covers(node, line) for name in _made(node)}
    count = {
        str(file.relative_to(root)): sum(file.read_text().count(word) for word in words)
        for file in root.glob("tests/*/**/test_*.py")
    }
    found = sorted(
        (not file.startswith(PURE), -number, file)
        for file, number in count.items()
        if number and not file.startswith(left_out)
    )
    return [file for *_, file in found][:3]


def _covers(node: ast.stmt, line: int) -> bool:
    decorators: list[ast.expr] = getattr(node, "decorator_list", [])
    first = min([node.lineno, *(one.lineno for one in decorators)])
    return first <= line <= (node.end_lineno or first)


def _made(node: ast.stmt) -> Iterator[str]:
    """The names that a statement makes."""
    if isinstance(node, ast.FunctionDef | ast.ClassDef):
        yield node.name
    for target in getattr(node, "targets", [getattr(node, "target", None)]):
        if isinstance(target, ast.Name):
            yield target.id


def tests_for(reach: Reach, path: str, at: tuple[str, int], most: int) -> list[str]:
    """Tests of that function, else of anything in its file: all of values alone, and ``most``
    others. Half of these run that very line and go where few others go in the function; the other
    half are those that reach least, each file of tests in turn."""
    of_file, (name, line) = reach.get(path, {}), at
    lines = of_file.get(name, {}) if name != OUTSIDE else {}
    tests = _tests([lines]) or _tests(of_file.values())
    count, here = _counts(reach), set(lines.get(str(line), ()))
    fewest = {one: len(tests) for one in tests}
    for reaching in lines.values():
        fewest |= {one: min(fewest[one], len(reaching)) for one in reaching}
    rare = sorted(
        tests, key=lambda one: (one not in here, _file(one) in WALKS, fewest[one], count[one], one)
    )
    pure = [one for one in rare if one.startswith(PURE)]
    rest = [one for one in rare if not one.startswith(PURE)]
    first = rest[: most // 2]
    return pure + first + _in_turn(set(rest) - set(first), count)[: most - len(first)]


def _tests(functions: Iterable[Lines]) -> set[str]:
    return {one for lines in functions for tests in lines.values() for one in tests}


def _in_turn(tests: set[str], count: Mapping[str, int]) -> list[str]:
    by_file: dict[str, list[str]] = {}
    for test in sorted(tests, key=lambda one: (count[one], one)):
        by_file.setdefault(_file(test), []).append(test)
    turns = [
        (file in WALKS, turn, count[test], test)
        for file, own in by_file.items()
        for turn, test in enumerate(own)
    ]
    return [test for *_, test in sorted(turns)]


def _counts(reach: Reach) -> Counter[str]:
    """How many functions each test reaches."""
    every = (_tests([lines]) for named in reach.values() for lines in named.values())
    return Counter(one for tests in every for one in tests)


def save(reach: Reach, path: Path) -> None:
    path.write_text(json.dumps(reach, indent=0, sort_keys=True), encoding="utf-8")


def load(path: Path) -> Reach:
    found: Reach = json.loads(path.read_text(encoding="utf-8"))
    return found
