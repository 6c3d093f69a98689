"""Standings of invented records, to be kept as they are for as long as a version is named.

    python deploy/bench/freeze.py sexing-2 > tests/vectors/standings_sexing-2.json

Run once for a version, before anything it rests on is changed; a version's file is never
written again. ``tests/domain/sexing/test_frozen_standings.py`` holds the code to it.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import TORN, VARIED, Draw, Manner, Record, standing_of
from scalewitness.domain.sexing.evidence import Evidence, Report
from scalewitness.domain.sexing.parameters import CALL_BY_CALL, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, adopted
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.taxa import taxon

SEED, VARIED_ONES, TORN_ONES = 2026, 50, 110
PRIORS = (0.5, 0.5, 0.5, 0.3, 0.95)
LENIENT = {"verified": "0.95", "verified_pessimistic": "0.8", "contrary": "0.7"}
THRESHOLDS: tuple[dict[str, str], ...] = ({}, {}, LENIENT)
RATES: tuple[list[list[Any]], ...] = (
    [],
    [],
    [
        ["examiner-1", "probing", "male", 1.0, 199.0],
        ["examiner-2", "probing", "female", 30.0, 70.0],
    ],
)
FIELDS = Evidence.__struct_fields__


def records_from(rates: list[list[Any]]) -> ExaminerRecords:
    if not rates:
        return EMPTY
    return ExaminerRecords("frozen", {(who, how, sex): (a, b) for who, how, sex, a, b in rates})


def drawn() -> list[Record]:
    """Varied records of up to eight calls, and torn ones of two to twelve."""
    return [*_drawn(VARIED, VARIED_ONES, 0, 8), *_drawn(TORN, TORN_ONES, 2, 12)]


def _reported(record: Record, version: str) -> Record:
    """With reports unconfirmed, confirmed and denied in turn, in versions that tell them apart."""
    if version in CALL_BY_CALL:
        return record
    words: Iterator[Report] = cycle(("unconfirmed", "confirmed", "denied", "own"))
    calls = [
        one if one.role == "keeper" else msgspec.structs.replace(one, report=next(words))
        for one in record.evidence
    ]
    kind = taxon(record.taxon.key, version)
    return msgspec.structs.replace(record, evidence=tuple(calls), taxon=kind)


def _drawn(manner: Manner, count: int, least: int, most: int) -> list[Record]:
    draw = Draw(np.random.default_rng(SEED), manner)
    return [draw.record(n, least + n % (most - least + 1)) for n in range(count)]


def frozen(version: str) -> list[dict[str, Any]]:
    """Each record with what it is measured by and what it comes to. ``p`` are the exact
    probabilities of male in both sets, as hexadecimal fractions."""
    around = zip(drawn(), cycle(PRIORS), cycle(THRESHOLDS), cycle([*RATES, RATES[0]]), strict=False)
    parameters = load_parameters(version)
    found = []
    for record, prior, thresholds, rates in islice(around, VARIED_ONES + TORN_ONES):
        policy = adopted("frozen", thresholds) if thresholds else DEFAULT_POLICY
        measured = msgspec.structs.replace(_reported(record, version), prior_male=prior)
        standing = standing_of(measured, parameters, records_from(rates), policy)
        found.append(
            {
                "species": record.taxon.key,
                "prior_male": prior,
                "thresholds": thresholds,
                "rates": rates,
                "calls": [
                    [msgspec.to_builtins(getattr(call, name)) for name in FIELDS]
                    for call in measured.evidence
                ],
                "label": standing.label,
                "p": [standing.p_male.hex(), standing.p_male_pessimistic.hex()],
                "favoured": standing.favoured,
                "decisive": standing.decisive,
                "reasons": standing.reasons,
            }
        )
    return found


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("version")
    version = arguments.parse_args().version
    lines = ",\n".join(json.dumps(one, separators=(",", ":")) for one in frozen(version))
    about = "Invented records; standings written when this version was in force."
    fields = json.dumps(FIELDS)
    print(f'{{"source": "{about}", "version": "{version}",\n"fields": {fields},')
    print(f'"records": [\n{lines}\n]}}')
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
