"""What was seen by a method, from the words of its questions."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from scalewitness.domain.choices import Choices, words
from scalewitness.domain.methods import METHODS, Question
from scalewitness.domain.observations import PROVED_BY
from scalewitness_cli.checks import BadWord

Ask = Callable[[Question], str]
"""Asks for an answer; nothing is given where the question may be left out."""
ASKED = tuple(method for method, about in METHODS.items() if about.asks)
"""Methods that have questions; a probe has runs instead."""


def answers(given: Iterable[str]) -> dict[str, str]:
    """``found=sire`` and the like by what they answer.

    Raises:
        BadWord: another form.
    """
    found: dict[str, str] = {}
    for one in given:
        name, equals, answer = (part.strip() for part in one.partition("="))
        if not (name and equals and answer):
            raise BadWord(f"“{one}”: say what was seen as in found=hemipenes.")
        found[name] = answer
    return found


def observed(method: str, given: Mapping[str, str], ask: Ask | None) -> dict[str, Any]:
    """What a call by the method says was seen; what was not ``given`` is asked for.

    Raises:
        BadWord: an answer is missing, or none that the question has.
    """
    asks = METHODS[method].asks
    if strange := sorted(given.keys() - {one.name for one in asks}):
        raise BadWord(f"Nothing of {method} is called {', '.join(strange)}. {_list(asks)}")
    made: dict[str, Any] = {"method": method}
    for one in asks:
        text = given.get(one.name) or (ask(one) if ask else "")
        if text:
            made[one.name] = answer(one, text)
        elif one.needed:
            raise BadWord(f"{one.text} Say --saw {one.name}={kinds(one)}.")
    return made


def answer(question: Question, text: str) -> str | int | bool:
    """An answer as the log has it.

    Raises:
        BadWord: it is none that the question has.
    """
    kind = question.answers
    if kind == "text":
        return text
    if kind == "yes_or_no" and text in {"yes", "no"}:
        return text == "yes"
    least, most = question.between
    if kind == "count" and text.isascii() and text.isdecimal() and least <= int(text) <= most:
        return int(text)
    if not isinstance(kind, str) and text in words(kind):
        return text
    raise BadWord(f"{question.text} “{text}” is not {kinds(question)}.")


def comes_to(seen: Mapping[str, Any]) -> tuple[str, str] | None:
    """The conclusion, and how sure it is, where what was seen says it by itself."""
    if seen["method"] != "parentage":
        return None
    proved = PROVED_BY.get(seen["found"])
    return (proved, "certain") if proved else ("undetermined", "fairly_sure")


def kinds(question: Question) -> str:
    """What answers it, in words."""
    kind = question.answers
    if kind == "count":
        return "a number from {} to {}".format(*question.between)
    if isinstance(kind, str):
        return {"yes_or_no": "yes or no", "text": "text"}[kind]
    return _words(kind)


def _words(kind: Choices) -> str:
    *others, last = words(kind)
    return f"{', '.join(others)} or {last}"


def _list(asks: Iterable[Question]) -> str:
    return f"It asks for {', '.join(one.name for one in asks)}."
