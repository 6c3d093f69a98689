"""Which mutants there are, and a seeded sample of them."""

import ast
import random
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import unified_diff
from itertools import islice
from pathlib import Path

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator

from stack.mutating.operators import OURS

SCOPE = (
    "server/scalewitness/domain/sales.py",
    "server/scalewitness/domain/consequences.py",
    "server/scalewitness/intake/rules/*.py",
    "server/scalewitness/letters/*.py",
    "server/scalewitness/receipts/*.py",
    "server/scalewitness/calls/queries/visibility.py",
    "server/scalewitness/pages/parts/access.py",
    "clients/scalewitness_cli/outbox.py",
)


@dataclass(frozen=True)
class Mutant:
    """One change of one file; ``line`` is where it begins, from 1."""

    path: str
    operator: str
    occurrence: int
    line: int

    def source(self, original: str) -> str:
        changed = mutate_code(original, _operator(self.operator), self.occurrence)
        if not isinstance(changed, str):
            raise LookupError(self)
        return changed

    def diff(self, original: str) -> str:
        """The lines that differ."""
        lines = unified_diff(original.splitlines(), self.source(original).splitlines(), n=0)
        return "\n".join(one for one in lines if one[:1] in "+-" and one[:3] not in {"+++", "---"})


def files(root: Path) -> list[str]:
    found = {str(one.relative_to(root)) for scope in SCOPE for one in root.glob(scope)}
    return sorted(found)


def draw(root: Path, seed: int, size: int) -> tuple[list[Mutant], int]:
    """A sample, each mutant with the same chance, not stratified; and of how many candidates.
    Those that are no other program after all are passed over."""
    found = [one for path in files(root) for one in _of_file(root, path)]
    random.Random(seed).shuffle(found)  # noqa: S311  no secret
    sources = {path: (root / path).read_text(encoding="utf-8") for path in files(root)}
    others = (one for one in found if _differs(one, sources[one.path]))
    return list(islice(others, size)), len(found)


def _of_file(root: Path, path: str) -> Iterator[Mutant]:
    source = (root / path).read_text(encoding="utf-8")
    typed = set(_typed(ast.parse(source)))
    nodes = list(ast_nodes(get_ast(source)))
    for name in _names():
        operator = _operator(name)
        starts = [at for node in nodes for at, _ in operator.mutation_positions(node)]
        for occurrence, (line, column) in enumerate(starts):
            if (line, column) not in typed:
                yield Mutant(path, name, occurrence, line)


def _names() -> list[str]:
    """All operators of the tool but those that need to be told names of variables."""
    return [*sorted(_plain()), *OURS]


def _plain() -> Iterator[str]:
    for name in cosmic_ray.plugins.operator_names():
        if not cosmic_ray.plugins.get_operator(name).arguments():
            yield name


def _operator(name: str) -> Operator:
    return OURS[name]() if name in OURS else cosmic_ray.plugins.get_operator(name)()


def _differs(mutant: Mutant, source: str) -> bool:
    """Whether it is another program at all: it parses, and ``is`` is not ``==`` beside None or
    a text."""
    try:
        changed = ast.parse(mutant.source(source))
    except SyntaxError:
        return False
    if ast.dump(changed) == ast.dump(ast.parse(source)):
        return False
    if mutant.operator.endswith(("Operator_Eq_Is", "Operator_NotEq_IsNot")):
        return not any(_is_text(node) for node in ast.walk(changed))
    return "None" not in mutant.diff(source) or "Is" not in mutant.operator or _turned(mutant)


def _is_text(node: ast.AST) -> bool:
    """``is`` or ``is not`` beside text written out, of which Python itself warns: the same text
    is one object here, however it came about."""
    if not isinstance(node, ast.Compare):
        return False
    beside = (one.value for one in [node.left, *node.comparators] if isinstance(one, ast.Constant))
    return isinstance(node.ops[0], ast.Is | ast.IsNot) and any(isinstance(v, str) for v in beside)


def _turned(mutant: Mutant) -> bool:
    """``is`` and ``is not`` changed for each other, not for ``==`` and ``!=``."""
    return mutant.operator.endswith(("Is_IsNot", "IsNot_Is"))


def _typed(tree: ast.AST) -> Iterator[tuple[int, int]]:
    """Where something stands that types alone read, by line and column."""
    for node in ast.walk(tree):
        hints = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        if isinstance(node, ast.Assign) and _is_alias(node):
            hints.append(node.value)
        for hint in filter(None, hints):
            for part in ast.walk(hint):
                if isinstance(part, ast.expr):
                    yield part.lineno, part.col_offset
                    yield part.end_lineno or part.lineno, part.end_col_offset or 0
            yield from _operators_within(hint)


def _is_alias(node: ast.Assign) -> bool:
    """``Consequence = Hold | Disclose`` and the like, where only names of types are joined."""
    value = node.value
    return (
        isinstance(value, ast.BinOp | ast.Subscript)
        and not isinstance(value, ast.Call)
        and all(not isinstance(one, ast.Call) for one in ast.walk(value))
        and isinstance(node.targets[0], ast.Name)
        and not node.targets[0].id.isupper()
    )


def _operators_within(hint: ast.expr) -> Iterator[tuple[int, int]]:
    """Every column of a one-line hint: the bar between two types has no node of its own."""
    if hint.end_lineno == hint.lineno:
        for column in range(hint.col_offset, hint.end_col_offset or hint.col_offset):
            yield hint.lineno, column
