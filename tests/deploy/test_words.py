"""The words of a check: one source for pages, phone and command, and each word of the log in it."""

from typing import Any, get_args

import pytest

from scalewitness.domain import choices, observations
from scalewitness.domain.choices import Choices, words
from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Marker, Observation
from stack.words import MADE, module


def test_the_phones_words_are_current() -> None:
    told = "run ./deploy/words and commit what it makes"
    assert MADE.read_text(encoding="utf-8") == module(), told


@pytest.mark.parametrize(
    ("offered", "logged"),
    [
        (choices.CONCLUSIONS, observations.Conclusion),
        (choices.SURENESSES, observations.Sureness),
        (choices.STOPS, observations.Stop),
        (choices.HOLDERS, observations.Holder),
        (choices.HARMS, observations.Harm),
        (choices.IDENTIFIED, observations.IdentifiedBy),
        (choices.SHEDS, observations.ShedStage),
    ],
)
def test_every_word_of_the_log_can_be_chosen_once(offered: Choices, logged: Any) -> None:
    assert sorted(words(offered)) == sorted(get_args(logged))


def test_every_method_has_its_words() -> None:
    assert set(METHODS) == set(get_args(observations.Method))


@pytest.mark.parametrize("kind", get_args(Observation))
def test_a_method_asks_for_what_its_observation_holds(kind: Any) -> None:
    """Probing asks for passes, which are no question with answers."""
    method = kind.__struct_config__.tag
    held = {} if method == "probing" else kind.__annotations__
    asked = {one.name: one.answers for one in METHODS[method].asks}
    assert set(asked) == set(held)
    for name, answers in asked.items():
        if isinstance(answers, tuple):
            assert sorted(words(answers)) == sorted(get_args(held[name])), name
        else:
            kinds = {bool: "yes_or_no", Marker | None: "text"}
            assert answers == kinds.get(held[name], "count"), name
