"""Which tests reach which function, from the coverage of each test by itself."""

import ast
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TypeGuard

from coverage import CoverageData

Reach = dict[str, dict[str, list[str]]]
"""By file and qualified name of a function, the tests that run any of it. Line numbers shift with
each edit; names seldom do."""
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


def _of_file(data: CoverageData, root: Path, path: str) -> dict[str, list[str]]:
    names = Names((root / path).read_text(encoding="utf-8"))
    found: dict[str, set[str]] = {}
    for line, contexts in data.contexts_by_lineno(path).items():
        tests = {one.partition("|")[0] for one in contexts if one}
        found.setdefault(names.at(line), set()).update(tests)
    return {name: sorted(tests) for name, tests in found.items() if tests}


def joined(known: Reach, new: Reach) -> Reach:
    """What is new, and of what was known that of all other files of tests."""
    again = {_file(one) for named in new.values() for tests in named.values() for one in tests}
    found = {
        path: {name: list(tests) for name, tests in named.items()} for path, named in new.items()
    }
    for path, named in known.items():
        for name, tests in named.items():
            others = (one for one in tests if _file(one) not in again)
            found.setdefault(path, {}).setdefault(name, []).extend(others)
    return found


def _file(test: str) -> str:
    return test.partition("::")[0]


class Names:
    """What stands where in a source: the outermost function, by line."""

    def __init__(self, source: str) -> None:
        tree = ast.parse(source)
        self.spans = list(_functions(tree))
        self.making = {one.name for one in tree.body if _makes_functions(one)}
        """Functions that make others: what they made before stays as it was."""

    def at(self, line: int) -> str:
        """Lines of a function's head (defaults, decorators) run when it is made: outside."""
        for name, first, last in self.spans:
            if first <= line <= last:
                return name
        return OUTSIDE


def _makes_functions(node: ast.stmt) -> TypeGuard[ast.FunctionDef]:
    inner = (one for one in ast.walk(node) if one is not node)
    return isinstance(node, ast.FunctionDef) and any(isinstance(o, ast.FunctionDef) for o in inner)


def _functions(node: ast.AST, within: str = "") -> Iterator[tuple[str, int, int]]:
    for one in ast.iter_child_nodes(node):
        if isinstance(one, ast.FunctionDef):
            yield f"{within}{one.name}", one.body[0].lineno, one.end_lineno or one.lineno
        elif isinstance(one, ast.ClassDef):
            yield from _functions(one, f"{within}{one.name}.")


def tests_for(reach: Reach, path: str, name: str, most: int) -> list[str]:
    """Tests of that function, else of anything in its file: all of values alone, and ``most``
    others; those that reach least first, each file of tests in turn."""
    of_file = reach.get(path, {})
    tests = set() if name == OUTSIDE else set(of_file.get(name, ()))
    tests = tests or {one for named in of_file.values() for one in named}
    count = _counts(reach)
    by_file: dict[str, list[str]] = {}
    for test in sorted(tests, key=lambda one: (count[one], one)):
        by_file.setdefault(_file(test), []).append(test)
    turns = [
        (file in WALKS, turn, count[test], test)
        for file, own in by_file.items()
        for turn, test in enumerate(own)
    ]
    ordered = [test for *_, test in sorted(turns)]
    pure = [one for one in ordered if one.startswith(PURE)]
    return pure + [one for one in ordered if not one.startswith(PURE)][:most]


def _counts(reach: Reach) -> dict[str, int]:
    counts: dict[str, int] = {}
    for of_file in reach.values():
        for tests in of_file.values():
            for one in tests:
                counts[one] = counts.get(one, 0) + 1
    return counts


def save(reach: Reach, path: Path) -> None:
    path.write_text(json.dumps(reach, indent=0, sort_keys=True), encoding="utf-8")


def load(path: Path) -> Reach:
    found: Reach = json.loads(path.read_text(encoding="utf-8"))
    return found
