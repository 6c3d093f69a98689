"""What compose.yaml says, but for running it: ./deploy/try_compose has that."""

from typing import Any

import pytest
import yaml

from stack.compose.containers import BITS, OURS, RIGHTS, name_of
from stack.compose.images import STAND_INS
from stack.local import ROOT

COMPOSE = ROOT / "deploy" / "compose.yaml"
SERVICES: dict[str, dict[str, Any]] = yaml.safe_load(COMPOSE.read_text())["services"]


def test_the_trial_looks_at_every_container_that_goes_on() -> None:
    assert set(OURS) == SERVICES.keys() - {"setup"}


@pytest.mark.parametrize("part", OURS)
def test_a_container_has_a_name_of_its_own_comes_back_at_boot_and_is_held(part: str) -> None:
    service = SERVICES[part]
    assert service["container_name"] == name_of(part)
    assert service["restart"] == "always"
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert set(service.get("cap_add", [])) == RIGHTS.get(part, set()) <= BITS.keys()
    assert service["healthcheck"]["test"][0] == "CMD-SHELL"


def test_our_processes_are_told_to_stop_by_one_that_listens_from_the_first() -> None:
    ours = {name for name, one in SERVICES.items() if "SCALEWITNESS" in one["image"]}
    assert ours == {name for name, one in SERVICES.items() if one.get("init")}


def test_what_starts_setup_without_saying_what_for_changes_nothing() -> None:
    assert SERVICES["setup"]["command"] == ["help"]


def test_each_image_of_others_has_a_stand_in() -> None:
    asked = {service["image"] for service in SERVICES.values()}
    variables = {image.removeprefix("${").partition(":")[0] for image in asked}
    assert variables == {*STAND_INS, "SCALEWITNESS_IMAGE"}
