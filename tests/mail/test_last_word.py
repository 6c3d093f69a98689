"""Whatever a mail host did, the last letter that it took of an animal is true, none owed is missing
and none came twice but under its own Message-ID. `deploy/bench/last_word.py` tells more stories.
"""

from pathlib import Path

import pytest
from tests.mail.stories import Figures, tell
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.some(2)
def test_the_last_word_is_true(world: World, tmp_path: Path, seed: int) -> None:
    figures = Figures()
    tell(world, seed, tmp_path / "mail", figures)
    assert figures.faults == []
    assert figures.letters > 1
