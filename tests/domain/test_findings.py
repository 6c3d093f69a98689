"""On whose word a finding rests: what it claims, and whether whose claim it is says so."""

import pytest

from scalewitness.domain.findings import on_whose_word


@pytest.mark.parametrize(
    ("basis", "answers", "told"),
    [
        (
            "arbiter",
            {"arbiter": False, "buyer": True},
            "The seller says that it is an arbiter’s; the arbiter denies it and the buyer has "
            "confirmed it.",
        ),
        (
            "arbiter",
            {"arbiter": None, "buyer": True},
            "The seller says that it is an arbiter’s; the buyer has confirmed it and the arbiter "
            "has not confirmed it.",
        ),
        (
            "arbiter",
            {"arbiter": True, "buyer": False},
            "It is an arbiter’s; the arbiter has confirmed it and the buyer denies it.",
        ),
        (
            "agreement",
            {"arbiter": True, "buyer": False},
            "The seller says that both sides agree; the arbiter has confirmed it and the buyer "
            "denies it.",
        ),
        (
            "agreement",
            {"other buyer": True},
            "Both sides agree; the other buyer has confirmed it.",
        ),
    ],
)
def test_a_claim_stands_by_the_word_of_those_it_is_about(
    basis: str, answers: dict[str, bool | None], told: str
) -> None:
    assert on_whose_word("seller", basis, answers) == told
