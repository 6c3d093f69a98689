"""The figures of the model card are the model's, and what must still verify a sex does."""

import pytest

from bench.calibration import kept
from bench.card import FILE, MUST_WORK, SEXES, standing_after, written
from bench.worlds import WORLDS
from scalewitness.domain.sexing.policy import DEFAULT_POLICY


def test_the_card_people_read_is_the_models() -> None:
    assert FILE.read_text(encoding="utf-8") == written(kept())


def test_every_world_is_on_it_before_and_after_learning() -> None:
    expected = [(world.name, settled) for world in WORLDS for settled in (0, 2000)]
    assert [(one.world, one.settled) for one in kept()] == expected


@pytest.mark.parametrize("story", MUST_WORK)
@pytest.mark.parametrize("sex", SEXES)
def test_what_must_still_work_has_room(story: str, sex: str) -> None:
    found = standing_after(MUST_WORK[story], sex)
    assert found.label == f"verified {sex}"
    warier = found.p_male_pessimistic if sex == "male" else 1 - found.p_male_pessimistic
    assert warier > DEFAULT_POLICY.verified_pessimistic
