"""Every species, probed at every depth by ever more blind keepers: an ordinary run tries a third of
their numbers, others with each seed; ``--all`` every one."""

from itertools import pairwise

import pytest
from tests.turns import turns

from bench.probing import DEPTHS, FILE, KEEPERS, probed, written
from scalewitness.domain.sexing.taxa import species_list


@pytest.mark.parametrize("kind", species_list(), ids=lambda kind: kind.key)
def test_probing_verifies_only_where_the_depths_are_published(kind, request):
    whose = turns(request.config, 3)
    tried = [keepers for keepers in KEEPERS if next(whose)]
    labels = {probed(kind, depth, keepers).label for depth in DEPTHS for keepers in tried}
    verified = {label for label in labels if label.startswith("verified")}
    assert verified == (
        {"verified male", "verified female"} if kind.ground == "published" else set()
    )


def test_the_table_people_read_is_the_models():
    assert FILE.read_text(encoding="utf-8") == written()


@pytest.mark.parametrize("kind", species_list(), ids=lambda kind: kind.key)
def test_deeper_never_speaks_less_for_a_male(kind):
    """Also beyond the ranges, where nobody saw a snake stop; ends of ranges aside, by less than
    one in a thousand."""
    if kind.ground is None:
        return
    shares = [probed(kind, depth, 2).p_male for depth in DEPTHS]
    assert all(deeper > share - 0.001 for share, deeper in pairwise(shares))
