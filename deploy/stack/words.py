"""The words of checks for the phone, which cannot import them: ``./deploy/words``.

Choices, methods and cautions have one source, ``server/scalewitness/domain``. The phone gets them
as a module of values; `tests/deploy/test_words.py` tells when it is not the current one.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final, get_args

from scalewitness.domain import cautions, choices
from scalewitness.domain.choices import Choices
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.methods import CONCLUDED_OF_EVERTED, METHODS, Question
from scalewitness.domain.observations import MOST_COUNTED, PROVED_BY
from scalewitness.domain.season.events import CAUTIONS as EVENT_CAUTIONS
from scalewitness.domain.season.events import COUNTED, COUNTS, EVENTS, SEEN, Mode, offered
from scalewitness.domain.sexing.taxa import deepest_known, species_list
from stack.local import ROOT

MADE: Final = ROOT / "clients" / "rackside" / "pure" / "words.js"
HEAD: Final = """\
/* The words of a check. Made by ./deploy/words from server/scalewitness/domain: change them there.

   A choice is [word of the log, what people read]; a question [name, label, choices or kind,
   whether it may be left out, the most and the least of a count other than 400 and 0]. `atRack`:
   a guest can do it too; `onlyOfA`: whose alone it is, and as whose it is reported. */

/** @typedef {[string, string]} Choice */
/** @typedef {Choice[] | "count" | "yes_or_no" | "text"} Answers */
/** @typedef {[string, string, Answers, boolean?, number?, number?]} Question */
/** @typedef {{
      title: string, handsOn: boolean, atRack: boolean, onlyOfA: string | null, asks: Question[],
    }} Method */
"""

CHOICES: Final[Mapping[str, Choices]] = {
    "CONCLUSIONS": choices.CONCLUSIONS,
    "SURENESS": choices.SURENESSES,
    "STOPPED": choices.STOPS,
    "HELD_BY": choices.HOLDERS,
    "HARM": choices.HARMS,
    "IDENTIFIED": choices.IDENTIFIED,
    "TOLD": choices.TOLD,
    "REPORTED": choices.REPORTED,
    "MEAL": choices.MEALS,
    "SHED": choices.IN_SHED,
}
CAUTIONS: Final[Mapping[str, Any]] = {
    "ended": ENDED,
    "hold_off": cautions.HOLD_OFF,
    "harm": cautions.STOP_AT_HARM,
    "reported": cautions.FED_AS_REPORTED,
    "fed": cautions.FED,
    "opaque": cautions.OPAQUE,
    "no_weight": cautions.NO_WEIGHT,
    "small": cautions.SMALL,
    "old_weight": cautions.OLD_WEIGHT,
    "alone": cautions.ALONE,
    "yolk": cautions.YOLK,
    "first_shed": cautions.FIRST_SHED,
}
LIMITS: Final[Mapping[str, Any]] = {
    "meal_hours": cautions.AFTER_A_MEAL // timedelta(hours=1),
    "weight_days": cautions.WEIGHT_AGES.days,
    "small_grams": cautions.SMALL_GRAMS,
    "yolk_days": cautions.YOLK_DAYS.days,
    "first_shed_days": cautions.FIRST_SHED_DAYS.days,
    "held_alone": cautions.HELD_ALONE,
    "holds_off": sorted(cautions.HOLDS_OFF),
}


def _season() -> list[list[Any]]:
    """Each event with its words, what is counted of it, and the caution that stands beside it."""
    return [
        [what, SEEN[what], list(COUNTED.get(what, ())), EVENT_CAUTIONS.get(what, "")]
        for what in EVENTS
    ]


def _deepest() -> Mapping[str, float]:
    """Scales by species; of one that is not listed, those of snakes in general."""
    found = {one.key: json.loads(f"{deepest_known(one.key):g}") for one in species_list()}
    general = found["serpentes"]
    return {key: deep for key, deep in sorted(found.items()) if deep != general} | {
        "serpentes": general
    }


def module() -> str:
    """The JavaScript module as it should stand in the phone's folder."""
    parts = [HEAD]
    parts += [_const(name, "Choice[]", _brief(given)) for name, given in CHOICES.items()]
    parts.append(_const("METHODS", "Record<string, Method>", _methods()))
    concluded = {seen: list(each) for seen, each in CONCLUDED_OF_EVERTED.items()}
    parts.append(_const("CONCLUDED_OF_EVERTED", "Record<string, string[]>", concluded))
    parts.append(_const("PROVED_BY", "Record<string, string>", PROVED_BY))
    parts.append(f"export const YOUR_WORD = {json.dumps(choices.YOUR_WORD)};\n")
    parts.append(_const("BEFORE_A_CHECK", "string[]", cautions.BEFORE_A_CHECK))
    parts.append(_const("CAUTIONS", "", CAUTIONS))
    parts.append(_const("LIMITS", "", LIMITS))
    parts.append(_const("SEASON", "[string, string, string[], string][]", _season()))
    parts.append(_const("COUNTS", "Record<string, string>", COUNTS))
    modes = {mode: offered(mode) for mode in get_args(Mode)}
    parts.append(_const("OFFERED", "Record<string, string[]>", modes))
    parts.append(_const("DEEPEST_KNOWN", "Record<string, number>", _deepest()))
    return "\n".join(parts)


def _const(name: str, kind: str, value: Mapping[str, Any] | Sequence[Any]) -> str:
    annotation = f"/** @type {{{kind}}} */\n" if kind else ""
    return f"{annotation}export const {name} = {_lines(value)};\n"


def _lines(value: Mapping[str, Any] | Sequence[Any]) -> str:
    """JSON with a line for each item."""
    if isinstance(value, Mapping):
        items = [f"{name}: {json.dumps(one, ensure_ascii=False)}" for name, one in value.items()]
        return "{\n" + "".join(f"  {one},\n" for one in items) + "}"
    return "[\n" + "".join(f"  {json.dumps(one, ensure_ascii=False)},\n" for one in value) + "]"


def _brief(given: Choices) -> list[list[str]]:
    return [[one.word, one.brief] for one in given]


def _methods() -> dict[str, Any]:
    return {
        method: {
            "title": words.name,
            "handsOn": words.hands_on,
            "atRack": words.at_the_rack,
            "onlyOfA": words.only_of_a,
            "asks": [_question(one) for one in words.asks],
        }
        for method, words in METHODS.items()
    }


def _question(one: Question) -> list[Any]:
    answers = one.answers if isinstance(one.answers, str) else _brief(one.answers)
    least, most = one.between if one.answers == "count" else (0, MOST_COUNTED)
    bounds = [most, least] if least else [most] if most != MOST_COUNTED else []
    spare = [not one.needed] if bounds or not one.needed else []
    return [one.name, one.brief, answers, *spare, *bounds]


if __name__ == "__main__":
    MADE.write_text(module(), encoding="utf-8")
    print(f"{MADE.relative_to(ROOT)} made anew")
