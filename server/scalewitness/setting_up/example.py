"""The example of a file of settings, made from the settings themselves.

Each variable that `scalewitness.settings` reads is in it, with its docstring as the comment.
"""

import ast
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final

SETTINGS: Final = Path(__file__).parents[1] / "settings"
"""Their source: importing them would read them."""
WIDTH: Final = 100
HEAD: Final = """\
# The settings of a service, from server/scalewitness/settings. `scalewitness-server init` fills in
# a file like this, as /etc/scalewitness/env. Values stand as they are, without quotation marks.
"""


@dataclass(frozen=True, slots=True)
class Variable:
    """``default``: None where it must be given; where it is ``computed``, as the source says it."""

    name: str
    default: str | None
    computed: bool
    about: str


def variables() -> list[Variable]:
    """In the order of the settings, those of the first module first.

    Raises:
        ValueError: one has no docstring.
    """
    modules = sorted(SETTINGS.glob("*.py"), key=lambda path: (path.stem != "__init__", path.stem))
    found = {one.name: one for path in modules for one in _of_module(path)}
    return list(found.values())


def example() -> str:
    """The text of the file."""
    return HEAD + "".join(f"\n{_shown(one)}" for one in variables())


def _of_module(path: Path) -> Iterator[Variable]:
    body = [*ast.parse(path.read_text()).body, None]
    for statement, after in pairwise(body):
        if statement is None or isinstance(statement, ast.FunctionDef):
            continue
        for name, default in _asked(statement):
            about = _text(after)
            if not about:
                raise ValueError(f"{path.name}: {name} has no docstring below it")
            yield Variable(name, *_default(default), about)


def _asked(statement: ast.stmt) -> Iterator[tuple[str, ast.expr | None]]:
    """The variables that a statement reads, with their defaults."""
    for call in ast.walk(statement):
        if not isinstance(call, ast.Call) or not call.args:
            continue
        name = call.args[0]
        if not isinstance(name, ast.Constant) or not _reads(call.func):
            continue
        default = next((one.value for one in call.keywords if one.arg == "default"), None)
        yield str(name.value), default


def _reads(function: ast.expr) -> bool:
    if isinstance(function, ast.Attribute):
        return isinstance(function.value, ast.Name) and function.value.id == "env"
    return isinstance(function, ast.Name) and function.id == "required"


def _default(value: ast.expr | None) -> tuple[str | None, bool]:
    """The default, and whether it is computed."""
    if value is None:
        return None, False
    try:
        found = ast.literal_eval(value)
    except ValueError:
        return ast.unparse(value), True
    return ",".join(found) if isinstance(found, list) else str(found), False


def _text(statement: ast.stmt | None) -> str:
    if not isinstance(statement, ast.Expr) or not isinstance(statement.value, ast.Constant):
        return ""
    return " ".join(str(statement.value.value).split())


def _shown(one: Variable) -> str:
    about = one.about.replace("``", "`")
    comment = textwrap.fill(about, WIDTH, initial_indent="# ", subsequent_indent="# ")
    if one.default is None:
        return f"{comment}\n# Must be given.\n{one.name}=\n"
    if one.computed:
        return f"{comment}\n# If it is not given: {one.default}\n#{one.name}=\n"
    return f"{comment}\n#{one.name}={one.default}\n"
