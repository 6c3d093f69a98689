"""The web app for the racks, as the server hands it out."""

import hashlib
import json
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from tests.pages.browser import Browser
from tests.pages.conftest import Here

pytestmark = pytest.mark.django_db
CHECKING = {"agreeing", "ed25519", "entry", "keys", "merkle", "notes", "record_map"} | {
    "carried",
    "freshness",
    "seen_before",
    "stated",
    "vrf",
    "whole",
}
FONTS = ("source-sans-3", "source-serif-4")
FOLDER = Path(settings.RACKSIDE_ROOT)


def test_the_worker_names_every_file_with_its_hash() -> None:
    worker = Client().get("/rackside/sw.js")
    assert worker["Content-Type"].startswith("text/javascript")
    first, own = worker.content.decode().split("\n", 1)
    shell = json.loads(first.removeprefix("const SHELL = ").removesuffix(";"))
    assert own == (FOLDER / "sw.js").read_text(encoding="utf-8")
    files = {one.relative_to(FOLDER).as_posix() for one in FOLDER.rglob("*") if one.is_file()}
    files |= {f"shared/{one}" for one in ("bytes.js", "canonical.js", "statement.js", "tokens.css")}
    files |= {f"checking/{one}.js" for one in CHECKING}
    files |= {f"shared/fonts/{one}-latin-wght-normal.woff2" for one in FONTS}
    assert set(shell["files"]) == files - {"sw.js", "index.html"} | {""}
    for path, digest in shell["files"].items():
        answer = Client().get(f"/rackside/{path}")
        assert answer.status_code == 200, path
        assert hashlib.sha256(answer.content).hexdigest() == digest, path


def test_files_are_asked_for_anew_and_answered_shortly() -> None:
    page = Client().get("/rackside/")
    assert page["Cache-Control"] == "no-cache"
    assert "default-src 'self'" in page["Content-Security-Policy"]
    again = Client().get("/rackside/", headers={"If-None-Match": page["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert Client().post("/rackside/").status_code == 405


@pytest.mark.parametrize(
    "path",
    ["../scalewitness_cli/main.py", "index.html", "pure", "pure/../sw.js", "%2e%2e/x", "no.js"],
)
def test_nothing_else_is_handed_out(path: str) -> None:
    assert Client().get(f"/rackside/{path}").status_code == 404


def test_guests_are_led_to_it_while_their_visit_is_open(here: Here, greta: Browser) -> None:
    animal = here.animal("RK-1")
    here.now_is_now()
    visit = here.visit(here.greta, animal)
    for page in (f"/visits/{visit}", f"/visits/{visit}/sheet"):
        assert f"/rackside/#/visit/{visit}" in greta.open(page).links
    assert not [
        link for link in Browser(here.odile).open(f"/visits/{visit}").links if "rack" in link
    ]
