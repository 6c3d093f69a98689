"""What a look at a service comes to, in one line each."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Literal

State = Literal["right", "wrong", "unsure"]


@dataclass(frozen=True, slots=True)
class Result:
    """``words``: what is so; ``todo``: what to do about it, empty where all is well. What could not
    be tested is ``unsure`` and says why, so that nothing passes for tested that was not."""

    name: str
    state: State
    words: str
    todo: str = ""

    def line(self) -> str:
        words = f"{self.words} → {self.todo}" if self.todo else self.words
        return f"{self.state:6}  {self.name:12}  {words}"


def shown(results: Sequence[Result]) -> str:
    """As a JSON list."""
    return json.dumps([asdict(one) for one in results], ensure_ascii=False, indent=1)


def status(results: Sequence[Result], *, strict: bool) -> int:
    """Of the process: 1 where something is wrong; 3 where nothing is, something was not tested
    and that matters (``strict``); else 0."""
    states = {one.state for one in results}
    if "wrong" in states:
        return 1
    return 3 if strict and "unsure" in states else 0
