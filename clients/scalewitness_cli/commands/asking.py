"""What ``scalewitness check`` asks for where it was not said by option."""

import json
from typing import Any

import click

from scalewitness.domain.cautions import STOP_AT_HARM
from scalewitness.domain.methods import METHODS, Question
from scalewitness_cli import checks, replica, reporting, seen

Given = dict[str, Any]
WORDS = click.Choice
MINE = "mine"
"""Where it is asked whose check it was."""


def is_hands_on(given: Given) -> bool:
    """Whether somebody holds the animal for it; of a later version's method, yes."""
    about = METHODS.get(method_of(given))
    return about is None or about.hands_on


def asked(given: Given, shown: Given, steward: bool) -> Given:
    """What was not given by option, asked for; nothing is where all that is needed was given."""
    if not is_hands_on(given):
        given = {**given, "held_by": given["held_by"] or "not_held"}
    if given["conclusion"] is not None:
        return given
    full = {**given, **_ask_whose(given, steward), **_ask_seen(given)}
    full["conclusion"], full["sureness"] = _ask_conclusion(full)
    code = replica.code_of(shown)
    full["identified"] = given["identified"] or click.prompt(
        "How you knew the animal (tag:CODE, transponder:CODE, keeper_said, appearance)",
        default=f"tag:{code}" if code else None, err=True,
    )  # fmt: skip
    if not is_hands_on(given):
        return full
    full["held_by"] = given["held_by"] or _ask("Who held it", checks.HOLDERS)
    full["grams"] = given["grams"] or _optional("Weight in grams")
    if steward:
        full["last_meal"] = given["last_meal"] or _optional("Last meal (a day)")
    full["harm"] = given["harm"] or _ask_harm()
    return full


def _ask_whose(given: Given, steward: bool) -> Given:
    """Of what is not done at the rack, whose it was: mostly somebody else's."""
    about = METHODS.get(method_of(given))
    if about is None or about.at_the_rack or given["method"] == "statement" or not steward:
        return {}
    role = given["whose"] or about.only_of_a
    role = role or _ask("Whose check it was", (MINE, *reporting.WHOSE))
    if role == MINE:
        return {}
    name = given["whose_name"] or click.prompt("Their name", err=True)
    document = given["document"] or _optional("The report they wrote, a file, if there is one")
    return {"whose": role, "whose_name": name, "document": document}


def _ask_seen(given: Given) -> Given:
    if given["observed"] or given["left"] or given["right"]:
        return {}
    if method_of(given) == "probing":
        return {"left": _ask_passes("left"), "right": _ask_passes("right")}
    return {"seen": seen.observed(given["method"], seen.answers(given["saw"]), _ask_answer)}


def _ask_conclusion(given: Given) -> tuple[str, str]:
    found = seen.comes_to(given["seen"]) if given.get("seen") else None
    if found is not None:
        return found
    conclusion = _ask("Conclusion", checks.CONCLUSIONS)
    return conclusion, given["sureness"] or _ask("How sure", checks.SURENESSES)


def _ask_answer(question: Question) -> str:
    """Asked again until it can be meant."""
    while True:
        text = _optional(f"{question.text} ({seen.kinds(question)})")
        if not text and not question.needed:
            return ""
        try:
            seen.answer(question, text)
        except checks.BadWord as fault:
            click.echo(str(fault), err=True)
        else:
            return text


def _ask_passes(side: str) -> list[str]:
    """Asked again until it can be meant; nothing ends the list."""
    found: list[str] = []
    while text := _optional(f"Run {len(found) + 1} on the {side}, DEPTH:STOP"):
        try:
            checks.one_pass(side, text)
        except checks.BadWord as fault:
            click.echo(str(fault), err=True)
        else:
            found.append(text)
    return found


def _ask_harm() -> tuple[str, ...]:
    text = _optional(f"Signs of harm, if any ({', '.join(checks.HARMS)})")
    found = tuple(one.strip() for one in text.split(",") if one.strip())
    if found:
        click.secho(f"  ! {STOP_AT_HARM}", err=True, bold=True)
    return found


def _ask(text: str, words: tuple[str, ...]) -> str:
    answer: str = click.prompt(text, type=WORDS(words), err=True)
    return answer


def _optional(text: str) -> str:
    answer: str = click.prompt(text, default="", show_default=False, err=True)
    return answer.strip()


def method_of(given: Given) -> str:
    """By what it is checked: by a probe, unless something else is said."""
    if not given["observed"]:
        return given["method"] or "probing"
    seen_so = from_json(given["observed"])
    return str(seen_so.get("method")) if isinstance(seen_so, dict) else ""


def from_json(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        raise checks.BadWord("--observed is no JSON.") from None
