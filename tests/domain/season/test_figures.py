"""Every number of judgement has a status, and is used."""

import re
import tomllib
from pathlib import Path
from typing import get_args

from scalewitness.domain.season.figures import season_number
from scalewitness.domain.sexing.parameters import Status

SERVER = Path(__file__).parents[3] / "server" / "scalewitness"
SHEET = tomllib.loads((SERVER / "domain/season/data/season.toml").read_text())
BY_PART = {"rates": {"young", "minute", "burden"}}
"""Read together: `check_first.supposed_rates`."""


def test_every_number_has_a_status_and_is_used():
    code = "\n".join(one.read_text() for one in SERVER.rglob("*.py"))
    used = set(re.findall(r'season_number\(\s*"(\w+)", "(\w+)"', code))
    used |= {(part, name) for part, names in BY_PART.items() for name in names}
    assert used == {(part, name) for part, numbers in SHEET.items() for name in numbers}
    for part, numbers in SHEET.items():
        for name, one in numbers.items():
            assert one["status"] in get_args(Status)
            assert season_number(part, name) == one["value"]
