"""A keeper takes away all that is kept of them, and nothing of anybody else's."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from tests.everything import a_text_of
from tests.world import World

from scalewitness.mail.services.delivering import deliver_due
from scalewitness.pages.accounts.own_data import LOGS_DAYS
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.django_db


def download(keeper: Keeper) -> list[dict[str, Any]]:
    client = Client()
    client.force_login(keeper)
    answer = client.get("/account/own-data")
    assert answer["Content-Disposition"].startswith("attachment")
    assert "no-store" in answer["Cache-Control"]
    return [json.loads(line) for line in answer.content.splitlines()]


def test_all_of_ones_own_is_in_it_and_nobody_elses(world: World) -> None:
    _, note = a_text_of(world)
    animal = world.animal("D-1")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    deliver_due(world.now)
    lines = download(world.odile)
    account = lines[0]["account"]
    assert (account["name"], account["email"]) == (world.odile.name, world.odile.email)
    text = json.dumps(lines)
    assert note in text
    for other in (world.greta, world.pim):
        assert other.email not in text
        assert other.name not in text
    stated = [one["stated"] for one in lines if "stated" in one]
    assert {one["by"] for one in stated} == {str(world.odile.pk)}
    assert {"visit_invited", "animal_registered"} <= {one["kind"] for one in stated}
    of_greta = download(world.greta)
    assert [one["stated"]["kind"] for one in of_greta if "stated" in one] == [
        "visit_accepted", "call_made",
    ]  # fmt: skip
    assert note not in json.dumps(of_greta)


def test_who_is_to_come_blind_finds_no_call_in_it(world: World) -> None:
    animal = world.animal("D-2")
    world.call(world.odile, animal, "female")
    world.visit(world.greta, animal)
    text = json.dumps(download(world.greta))
    assert "female" not in text
    assert str(animal.pk) not in text


def test_what_is_kept_is_said_to_everybody_with_who_keeps_it(settings: Any) -> None:
    settings.OPERATOR_NAME, settings.OPERATOR_CONTACT = "The club", "club@keepers.example"
    page = Client().get("/kept").content.decode()
    assert "The club runs this record" in page
    assert "club@keepers.example" in page
    assert f"Up to {settings.BACKUPS_KEPT_DAYS} days" in page
    assert "after 180 days without use" in page
    settings.OPERATOR_NAME = ""
    assert "has not said so here" in Client().get("/kept").content.decode()


def test_the_host_s_notes_end_when_the_page_says() -> None:
    journald = (Path(__file__).parents[2] / "deploy/systemd/journald.conf").read_text()
    assert re.search(rf"^MaxRetentionSec={LOGS_DAYS}day$", journald, re.MULTILINE)
