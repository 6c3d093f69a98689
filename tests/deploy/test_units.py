"""The units for systemd, and what they agree on with each other and with the guide."""

import re
import shutil
import subprocess

import pytest

from stack.guide.blocks import blocks_of
from stack.local import ROOT

UNITS = ROOT / "deploy" / "systemd"
OURS = ("web", "worker", "beat", "returns")
"""Services that run as the account of the service itself."""


def test_each_unit_loads_and_none_is_more_exposed_than_is_written_down() -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("there is no systemd-analyze here to look at units: apt-get install systemd")
    command = [ROOT / "deploy/check_units"]
    answer = subprocess.run(command, capture_output=True, text=True, check=False)
    assert answer.returncode == 0, answer.stderr
    assert {line.split(":")[0] for line in answer.stdout.splitlines()} == {
        one.name for one in UNITS.glob("*.service")
    }


def bounds(name: str) -> list[str]:
    text = (UNITS / f"scalewitness-{name}.service").read_text()
    found = re.search(r"# What it may do.*?UMask=0077\n", text, re.DOTALL)
    return found[0].splitlines() if found else []


@pytest.mark.parametrize("name", OURS)
def test_what_one_of_them_may_not_do_none_may(name: str) -> None:
    assert bounds(name) == bounds("web") != []


def test_the_guide_starts_each_unit_or_what_starts_it() -> None:
    typed = " ".join(blocks_of(ROOT / "deploy/INSTALL.md").values())
    for unit in UNITS.glob("scalewitness*"):
        timer = unit.with_suffix(".timer")
        started = timer.name if timer.exists() else unit.name
        assert started in typed, started
