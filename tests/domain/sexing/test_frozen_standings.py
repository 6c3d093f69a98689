"""Standings written down once for each version come out the same for ever."""

import json
from pathlib import Path

import msgspec
import pytest

from bench.freeze import FIELDS, records_from
from bench.histories import Record, standing_of
from scalewitness.domain.sexing.case import share
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, adopted
from scalewitness.domain.sexing.standing import assess
from scalewitness.domain.sexing.taxa import taxon

VERSIONS = ("sexing-1", "sexing-2", "sexing-3")
"""Those that were in force: a version is frozen when a record may name it."""
VECTORS = Path(__file__).parents[2] / "vectors"
LAST_DIGITS = 1e-14
"""The exponentials of two C libraries may differ; six decimals go into the log."""


def _frozen(version):
    return json.loads((VECTORS / f"standings_{version}.json").read_text())


def _record(kept, fields, version):
    calls = [
        msgspec.convert(dict(zip(fields, call, strict=True)), Evidence) for call in kept["calls"]
    ]
    return Record(tuple(calls), taxon(kept["species"], version), kept["prior_male"])


def _measured_by(kept):
    thresholds = kept["thresholds"]
    policy = adopted("frozen", thresholds) if thresholds else DEFAULT_POLICY
    return records_from(kept["rates"]), policy


@pytest.mark.parametrize("version", VERSIONS)
def test_every_frozen_record_comes_to_its_standing(version):
    vectors = _frozen(version)
    numbers = load_parameters(version)
    assert len(vectors["records"]) == 160
    for kept in vectors["records"]:
        found = standing_of(_record(kept, vectors["fields"], version), numbers, *_measured_by(kept))
        said = (found.label, found.favoured, found.decisive, list(found.reasons))
        assert said == (kept["label"], kept["favoured"], kept["decisive"], kept["reasons"])
        exact = [float.fromhex(p) for p in kept["p"]]
        assert [found.p_male, found.p_male_pessimistic] == pytest.approx(exact, rel=LAST_DIGITS)
        assert [share(found.p_male), share(found.p_male_pessimistic)] == list(map(share, exact))


@pytest.mark.parametrize("version", VERSIONS)
def test_the_account_shown_is_of_the_same_standing(version):
    vectors = _frozen(version)
    numbers = load_parameters(version)
    for kept in vectors["records"]:
        record, (records, policy) = _record(kept, vectors["fields"], version), _measured_by(kept)
        alone = standing_of(record, numbers, records, policy)
        shown = assess(record.evidence, record.taxon, records, policy, numbers, record.prior_male)
        assert (shown.label, shown.p_male, shown.p_male_pessimistic, shown.reasons) == (
            alone.label,
            alone.p_male,
            alone.p_male_pessimistic,
            alone.reasons,
        )


def test_the_fields_of_a_call_are_those_frozen_or_have_a_default():
    for version in VERSIONS:
        assert set(_frozen(version)["fields"]) <= set(FIELDS)


def test_the_frozen_records_rise_fall_turn_and_return():
    kept = _frozen("sexing-2")["records"]
    assert {one["label"] for one in kept} == {
        "unsexed",
        "probable male",
        "probable female",
        "verified male",
        "verified female",
        "contested",
    }
    reasons = {reason for one in kept for reason in one["reasons"]}
    assert reasons >= {"fell_from_male", "fell_from_female", "restored", "needs_later_support"}
    assert reasons >= {"decisive_evidence", "examiners_agree", "contrary_call", "no_evidence"}
