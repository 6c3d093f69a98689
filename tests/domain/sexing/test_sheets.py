"""Numbers that belong to no version of the model have value, status and source all the same."""

from math import isfinite
from typing import get_args

from scalewitness.domain.sexing.parameters import Status, numbers_of
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.words import support

SHEETS = (
    table("examiners.toml"),
    table("clutches.toml"),
    table("certainty.toml"),
    *table("words.toml").values(),
    *(table("planning.toml")[part] for part in ("depths", "scale_counts")),
)


def test_every_number_beside_the_versions_says_where_it_comes_from():
    for number in (one for sheet in SHEETS for one in numbers_of("beside", sheet)):
        assert isfinite(number.value), number
        assert number.value > 0, number
        assert number.status in get_args(Status), number
        assert number.source or number.status not in {"published", "from memory"}, number


def test_the_words_for_strengths_begin_where_the_published_grades_do():
    """Kass and Raftery 1995 by the logarithm of the odds: 1/2, 1, 2. Strongest first, or the
    first word that fits would not be the strongest."""
    assert support(2.0).startswith("speaks very strongly for a male")
    assert support(-1.99).startswith("speaks strongly for a female")
    assert support(0.99).startswith("speaks clearly")
    assert support(0.49).startswith("speaks slightly")
    assert support(0.09) == "says almost nothing"
