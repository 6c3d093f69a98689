"""The library, from the built wheel and without the server: the scripts of its page are checked by
mypy in strict mode and run, and what goes wrong comes as an exception."""

import ast
import os
import re
import subprocess
import sys
import sysconfig
import venv
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from zipfile import ZipFile

import pytest
from tests.cli.rooms import Machine, Room, fresh_id, invite, new_animal
from tests.world import PASSWORD

from scalewitness import __version__
from scalewitness.domain.facts import CallWithdrawn, HusbandryNoted, Identification, Meal, Weight
from scalewitness.domain.facts.shapes import Body
from scalewitness.domain.observations import Dna
from scalewitness_cli.identity import moment_now
from scalewitness_client import Client, InvalidFact, NotAccepted, Refusal, Stopped, Unreachable
from stack.local import ROOT

pytestmark = pytest.mark.one_in(3)

SCRIPT = re.compile(r"<!-- (\w+\.py) -->\n```python\n(.*?)```", re.DOTALL)
PAGE = ROOT / "clients" / "LIBRARY.md"


RESULTS = """tag,found,marker,replicates
L1,heterogametic,W-12/3,3
L2,homogametic,W-12/3,3
"""


def built(folder: Path, into: Path) -> Path:
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(into)],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (made,) = into.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(ROOT, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def python(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of an environment with the wheel, and with what it needs from elsewhere."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, with_pip=False)
    (site,) = folder.glob("lib/python*/site-packages")
    with ZipFile(wheel) as opened:
        opened.extractall(site)
    (site / "needed.pth").write_text(sysconfig.get_path("purelib"))
    return folder / "bin" / "python"


@pytest.fixture(scope="module")
def scripts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("scripts")
    found = {}
    for name, text in SCRIPT.findall(PAGE.read_text(encoding="utf-8")):
        found[name] = folder / name
        found[name].write_text(text, encoding="utf-8")
    return found


def run(python: Path, machine: Machine, *arguments: str) -> "subprocess.CompletedProcess[str]":
    env = {name: text for name, text in machine.env.items() if name != "PYTHONPATH"}
    return subprocess.run(
        [str(python), *arguments], cwd=machine.home, env=env, capture_output=True, text=True,
        check=False,
    )  # fmt: skip


@pytest.mark.one_in(1)
def test_the_wheel_has_no_server_and_says_what_it_is(wheel: Path, python: Path) -> None:
    with ZipFile(wheel) as opened:
        names = opened.namelist()
        (metadata,) = (one for one in names if one.endswith("METADATA"))
        told = opened.read(metadata).decode()
    tops = {"/".join(one.split("/")[:2]) for one in names if one.startswith("scalewitness/")}
    assert tops == {"scalewitness/__init__.py", "scalewitness/py.typed", "scalewitness/domain"}
    assert sum(one.endswith("py.typed") for one in names) == 3
    assert any(one.endswith("licenses/LICENSE") for one in names)
    assert "License-Expression: Apache-2.0" in told
    assert "Classifier: Typing :: Typed" in told
    asked = (
        "import importlib.util, sys, scalewitness_client\n"
        "print(scalewitness_client.__version__, importlib.util.find_spec('scalewitness.people'),"
        " 'django' in sys.modules)"
    )
    done = subprocess.run(
        [python, "-I", "-c", asked], capture_output=True, text=True, check=True, cwd="/"
    )
    assert done.stdout.split() == [__version__, "None", "False"]


def test_the_servers_wheel_has_the_rest_and_the_phone(wheel: Path, tmp_path: Path) -> None:
    with ZipFile(built(ROOT / "server", tmp_path)) as opened, ZipFile(wheel) as ours:
        server, client = (
            {one for one in each.namelist() if ".dist-info/" not in one} for each in (opened, ours)
        )
        (metadata,) = (one for one in opened.namelist() if one.endswith("METADATA"))
        needs = opened.read(metadata).decode()
    assert not server & client, "no file is in both"
    sources = {
        str(one.relative_to(ROOT / "server"))
        for one in (ROOT / "server" / "scalewitness").rglob("*.py")
    }
    assert sources <= server | client
    assert {"scalewitness/rackside/index.html", "scalewitness/rackside/sw.js"} <= server
    assert f"Requires-Dist: scalewitness[server]=={__version__}" in needs


def test_the_scripts_of_the_page_are_typed_and_short(
    python: Path, scripts: dict[str, Path], tmp_path: Path
) -> None:
    assert set(scripts) == {"laboratory.py", "weights.py"}
    for one in scripts.values():
        tree = ast.walk(ast.parse(one.read_text()))
        code = [each for each in tree if isinstance(each, ast.stmt)]
        assert sum(not isinstance(each, ast.Import | ast.ImportFrom) for each in code) <= 10
    left_out = {"MYPYPATH", "PYTHONPATH"}
    env = {name: text for name, text in os.environ.items() if name not in left_out}
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--config-file", os.devnull, "--cache-dir",
         str(tmp_path), "--python-executable", str(python), *map(str, scripts.values())],
        cwd=tmp_path, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.stdout.startswith("Success"), done.stdout


def test_a_laboratory_states_its_results_from_a_file(
    room: Room, python: Path, scripts: dict[str, Path]
) -> None:
    keeper = room.at_work("maud")
    tags = {tag: new_animal(keeper, tag) for tag in ("L1", "L2")}
    laboratory = room.keeper("larkmoor")
    for animal in tags.values():
        invite(keeper, laboratory, animal)
    laboratory.sign_in(room.log_key)
    file = laboratory.home / "results.csv"
    file.write_text(RESULTS, encoding="utf-8")
    done = run(python, laboratory, str(scripts["laboratory.py"]), str(file))
    assert done.returncode == 0, done.stderr
    stated = done.stdout.split()
    for (tag, animal), id in zip(tags.items(), stated, strict=True):
        (call,) = laboratory.api.get(f"animals/{animal}/calls").json()["items"]
        assert (call["id"], call["signed"]) == (id, True)
        assert call["conclusion"] == {"L1": "female", "L2": "male"}[tag]
        assert (call["observed"]["marker"], call["observed"]["replicates"]) == ("W-12/3", 3)
    again = run(python, laboratory, "-c", "import scalewitness_client as s; s.Client.open().sync()")
    assert again.returncode == 0, again.stderr


def test_a_keeper_draws_weights(room: Room, python: Path, scripts: dict[str, Path]) -> None:
    keeper = room.at_work("nell")
    new_animal(keeper, "L3")
    keeper.sync()
    for grams, at in (("400", "2026-11-01"), ("412.5", "2026-11-15")):
        keeper.well("weigh", "L3", grams, "--at", at)
    done = run(python, keeper, str(scripts["weights.py"]), "L3")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        f"2026-11-01    400.0 g {'▪' * 16}", f"2026-11-15    412.5 g {'▪' * 16}",
    ]  # fmt: skip


@pytest.fixture(scope="module")
def keeper(room: Room) -> Machine:
    return room.at_work("orla")


@pytest.fixture
def client(
    room: Room, keeper: Machine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Iterator[Client]:
    for name, text in {"HOME": str(tmp_path), "XDG_DATA_HOME": "", "XDG_STATE_HOME": ""}.items():
        monkeypatch.setenv(name, text)
    room.forget_throttles()
    url, email = room.stack.url, keeper.email
    with Client.sign_in(url, email, PASSWORD, log_key=room.log_key) as made:
        yield made


def test_facts_of_any_kind_are_stated_sent_once_and_proved(
    keeper: Machine, client: Client, tmp_path: Path
) -> None:
    id = new_animal(keeper, "L4")
    client.sync()
    animal = client.animal("L4")
    assert (animal.id, animal.blind, animal.standing, animal.grams) == (id, False, None, None)
    stated = client.state(
        animal, HusbandryNoted(noted=Weight(grams="512.5")), at=moment_now() - timedelta(days=1)
    )
    found = Dna(system="ZW", sample="shed", found="homogametic")
    call = client.call(
        animal, found, conclusion="male", sureness="certain", note="from a letter",
        identified=Identification(by="tag", code="L4"), document=b"the letter",
    )  # fmt: skip
    assert client.sync().sent == 2
    assert client.sync().sent == 0
    kinds: dict[str, Body | dict[str, object]] = {
        one.kind: one.body for one in client.entries(animal)
    }
    assert kinds["husbandry_noted"] == HusbandryNoted(noted=Weight(grams="512.5"))
    assert {"note": "from a letter"} in [one.texts for one in client.entries(animal)]
    now = client.animal("L4")
    assert now.grams == Decimal("512.5")
    assert now.standing is not None
    assert now.standing.parameters, "a number comes with what it rests on"
    file = tmp_path / "a.receipt"
    file.write_text(client.receipt(stated))
    assert keeper.run("verify", str(file)).status == 0
    client.state(animal, CallWithdrawn(call=call))
    client.sync()
    assert [one["id"] for one in client.each(f"animals/{id}/calls")] == [call]


def test_what_is_wrong_comes_as_an_exception_and_nothing_is_lost(
    keeper: Machine, client: Client
) -> None:
    animal = new_animal(keeper, "L5")
    client.sync()
    for wrong in (Weight(grams="heavy"), Weight(grams="-1"), Meal(taken=True, grams="1.25")):
        with pytest.raises(InvalidFact):
            client.state(animal, HusbandryNoted(noted=wrong))
    with pytest.raises(InvalidFact, match="time zone"):
        client.state(
            animal, HusbandryNoted(noted=Meal(taken=True)), at=moment_now().replace(tzinfo=None)
        )
    stated = client.state(fresh_id(), HusbandryNoted(noted=Meal(taken=True)))
    with pytest.raises(NotAccepted) as refused:
        client.sync()
    assert refused.value.problems[stated]["code"] == "not_found"
    with pytest.raises(NotAccepted):
        client.sync()  # until somebody decides: scalewitness drop, retry
    with pytest.raises(Refusal) as refusal:
        client.get("animals/00000000-0000-7000-8000-000000000000")
    assert (refusal.value.status, refusal.value.code) == (404, "not_found")
    with pytest.raises(Stopped, match="L99"):
        client.animal("L99")


def test_pages_of_the_api_are_one_list(keeper: Machine, client: Client) -> None:
    ids = {new_animal(keeper, f"L6-{number}") for number in range(3)}
    found = [one["id"] for one in client.each("animals", limit="1")]
    assert ids <= set(found)
    assert len(found) == len(set(found))


def test_nobody_is_signed_in_by_a_wrong_password_or_a_silent_server(
    keeper: Machine, tmp_path: Path
) -> None:
    with pytest.raises(Refusal, match="wrong_credentials"):
        Client.sign_in(keeper.url, keeper.email, "not it", folder=tmp_path)
    with pytest.raises(Stopped, match="nobody"):
        Client.open(folder=tmp_path)


def test_a_key_that_the_log_does_not_have_is_not_trusted(
    room: Room, keeper: Machine, tmp_path: Path
) -> None:
    room.forget_throttles()
    other = room.log_key.replace("+", "x+", 1)
    with pytest.raises((Stopped, ValueError)):
        Client.sign_in(keeper.url, keeper.email, PASSWORD, folder=tmp_path, log_key=other)


def test_a_server_that_does_not_answer_leaves_all_stored(
    keeper: Machine, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    animal = new_animal(keeper, "L7")
    client.sync()
    client.state(animal, HusbandryNoted(noted=Weight(grams="300")))
    url = client._store.url
    monkeypatch.setattr(client._store, "url", "http://127.0.0.1:1")
    with pytest.raises(Unreachable):
        client.sync(seconds=0.1)
    monkeypatch.setattr(client._store, "url", url)
    assert client.sync().sent == 1
