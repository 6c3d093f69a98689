"""What the sheet of reproduction says, and that it says where it has it from."""

from math import isclose, sqrt

import pytest

from scalewitness.domain.season.reproduction import (
    breeding_figures,
    clutch_sizes,
    sizes_between,
)
from scalewitness.domain.sexing.taxa import NOT_LISTED, species_list

LISTED = [one.key for one in species_list() if one.key != NOT_LISTED]


def mean_of(sizes):
    return sum(n * p for n, p in sizes.items())


def sourced(figures):
    rest = () if figures.rest is None else (figures.rest,)
    return [*figures.young, *figures.days.values(), *figures.first.values(), *rest]


@pytest.mark.parametrize("species", LISTED)
def test_every_species_has_a_mode_and_no_figure_without_its_source(species):
    figures = breeding_figures(species)
    assert figures.mode.mode in ("eggs", "live")
    for one in (figures.mode, *sourced(figures)):
        assert one.source or one.status in ("common practice", "from memory"), one
    assert all(1 <= one.low <= one.high for one in (*figures.young, *figures.days.values()))
    ends = {until for _, until in figures.days}
    assert not ends & ({"born"} if figures.mode.mode == "eggs" else {"laid", "hatched"})


def test_of_a_species_that_is_not_listed_nothing_is_made_up():
    figures = breeding_figures(NOT_LISTED)
    assert figures.mode.mode == "unknown"
    assert not sourced(figures)
    assert clutch_sizes(NOT_LISTED) == {}


@pytest.mark.parametrize("species", LISTED)
def test_the_chances_of_clutch_sizes_are_whole_and_have_the_mean_of_their_source(species):
    sizes = clutch_sizes(species)
    if not breeding_figures(species).young:
        assert sizes == {}
        return
    given = breeding_figures(species).young[0]
    middle = (given.low + given.high) / 2 if given.mean is None else given.mean
    assert isclose(sum(sizes.values()), 1)
    assert mean_of(sizes) == pytest.approx(middle, abs=1e-6)
    assert (min(sizes), max(sizes)) == (given.low, given.high)


def test_figures_as_published():
    ball = breeding_figures("python_regius")
    # Gorzula, Nsiah and Oduro 1997: mean 8.1, range 4 to 15
    assert mean_of(clutch_sizes("python_regius")) == pytest.approx(8.1, abs=1e-6)
    assert ball.young[0].status == "published"
    # Burger, Zappalorti and Gochfeld: 9.5 with a standard error of 0.3 over 53 clutches
    pine = breeding_figures("pituophis_melanoleucus").young[0]
    assert pine.sd == pytest.approx(0.3 * sqrt(53), abs=0.01)
    # pages contradict one another: 28 to 32 and 30 to 50 days from the shed to the eggs
    window = ball.days["shed_before_laying", "laid"]
    assert (window.low, window.high, window.status) == (28, 50, "web page")


def test_a_borrowed_window_names_whose_it_is():
    lent = breeding_figures("morelia_viridis").days["shed_before_laying", "laid"]
    own = breeding_figures("python_regius").days["shed_before_laying", "laid"]
    assert (lent.low, lent.high, lent.about) == (own.low, own.high, "ball python")
    assert own.about == ""


def test_a_keepers_own_numbers_are_a_bell_between_their_ends():
    sizes = sizes_between(4, 8)
    assert max(sizes, key=sizes.__getitem__) == 6
    assert sizes[4] == pytest.approx(sizes[8])
    assert sizes_between(3, 3) == {3: 1.0}
    for low, high, mean in ((5, 4, None), (-1, 4, None), (2, 8, 9)):
        with pytest.raises(ValueError, match="no clutch sizes"):
            sizes_between(low, high, mean)
