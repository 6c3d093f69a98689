"""``scalewitness-server init`` on a real PostgreSQL: what it makes, and what it leaves alone."""

import json
import os
import resource
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from stat import S_IMODE
from urllib.parse import urlsplit

import psycopg
import pytest
from psycopg import sql
from tests.plugins.environment import ENVIRONMENT
from tests.plugins.services import Services

from scalewitness import env_file
from scalewitness.setting_up import answers, command, files
from scalewitness.setting_up.keys import fresh_log_key
from scalewitness.setting_up.refusing import CannotSetUp

pytestmark = pytest.mark.one_in(4)

BARE = {
    name: value
    for name, value in os.environ.items()
    if name not in {*ENVIRONMENT, "DJANGO_SETTINGS_MODULE"}
}
PASSWORD = "long enough for a racks' keeper"
ASKED = f"""
import json, django; django.setup()
from allauth.account.models import EmailAddress
from django.conf import settings
from scalewitness.people.models import Founder
print(json.dumps({{
    "addresses": list(EmailAddress.objects.values_list("email", "verified")),
    "founders": Founder.objects.count(), "operators": settings.OPERATORS,
    "hosts": settings.ALLOWED_HOSTS,
    "password": EmailAddress.objects.first().user.check_password({PASSWORD!r}),
}}))
"""


@dataclass(frozen=True)
class Made:
    """A service that init made."""

    result: subprocess.CompletedProcess[str]
    options: list[str]
    name: str
    path: Path

    @cached_property
    def settings(self) -> dict[str, str]:
        return env_file.read(self.path)

    @cached_property
    def owner_url(self) -> str:
        return env_file.read(env_file.owners(self.path))["DATABASE_OWNER_URL"]

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        """With nothing but the file."""
        module = {"DJANGO_SETTINGS_MODULE": "scalewitness.settings"}
        return run([*command], BARE | module | {env_file.VARIABLE: str(self.path)})


@contextmanager
def named(services: Services, name: str) -> Iterator[str]:
    """A database that init makes; it goes with its roles."""
    if not services.superuser_url:
        pytest.skip("it needs a superuser of PostgreSQL")
    yield name
    with psycopg.connect(services.superuser_url, autocommit=True) as superuser:
        drop = sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)")
        superuser.execute(drop.format(sql.Identifier(name)))
        for role in (f"{name}_app", f"{name}_owner"):
            superuser.execute(sql.SQL("DROP ROLE IF EXISTS {}").format(sql.Identifier(role)))


def options_of(services: Services, folder: Path, name: str) -> list[str]:
    return [
        *("--no-input", "--env-file", str(folder / "etc" / "env"), "--database", name),
        *("--public-url", "https://record.example", "--redis-url", services.redis_url),
        *("--superuser-url", str(services.superuser_url)),
        *("--static-root", str(folder / "static")),
    ]


@pytest.fixture(scope="module")
def made(services: Services, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    folder = tmp_path_factory.mktemp("made")
    (folder / "password").write_text(f"{PASSWORD}\n")
    with named(services, "made_by_init") as name:
        options = [
            *options_of(services, folder, name),
            *("--operator", "op@record.example", "--founder", "op@record.example"),
            *("--operator-password-file", str(folder / "password")),
        ]
        result = run(["-m", "scalewitness", "init", *options])
        yield Made(result, options, name, folder / "etc" / "env")


@pytest.fixture
def options(services: Services, tmp_path: Path) -> Iterator[list[str]]:
    with named(services, "not_made_by_init") as name:
        yield options_of(services, tmp_path, name)


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """As nothing is set: init takes what the environment says for what is meant."""
    for one in ENVIRONMENT:
        monkeypatch.delenv(one)


def refused(options: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert command.init(options) == 1
    return capsys.readouterr().err


def run(arguments: list[str], env: Mapping[str, str] = BARE) -> subprocess.CompletedProcess[str]:
    whole = [sys.executable, *arguments]
    return subprocess.run(whole, env=env, capture_output=True, text=True, timeout=120, check=False)


@pytest.mark.one_in(1)
def test_one_command_makes_a_service(made: Made) -> None:
    assert made.result.returncode == 0, made.result.stderr
    files = made.path, env_file.owners(made.path)
    assert {S_IMODE(one.stat().st_mode) for one in files} == {0o600}
    assert "DATABASE_OWNER_URL" not in made.settings
    asked = made.run("-c", ASKED)
    assert json.loads(asked.stdout) == {
        "addresses": [["op@record.example", True]],
        "founders": 1,
        "operators": ["op@record.example"],
        "hosts": ["record.example", "127.0.0.1", "localhost"],
        "password": True,
    }, asked.stderr
    assert made.run("-m", "scalewitness", "fsck").returncode == 0


def test_it_tells_what_to_keep_elsewhere_and_no_secret(made: Made) -> None:
    for told in ("Keep elsewhere", str(made.path), "LOG_MAP_KEY", "record.example/log+", "check"):
        assert told in made.result.stdout
    secrets = {made.settings[one] for one in (*command.KEYS, "DATABASE_URL", "METRICS_TOKEN")}
    shown = made.result.stdout + made.result.stderr
    assert not [one for one in {*secrets, made.owner_url, PASSWORD} if one in shown]


def test_web_and_worker_cannot_alter_the_log_and_strangers_do_not_get_in(
    made: Made, services: Services
) -> None:
    with psycopg.connect(made.settings["DATABASE_URL"]) as app:
        for forbidden in ("DELETE FROM ledger_entry", "CREATE TABLE public.mine (a int)"):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                app.execute(forbidden)
            app.rollback()
    stranger = urlsplit(services.app_url)._replace(path=f"/{made.name}").geturl()
    with pytest.raises(psycopg.OperationalError, match="does not have CONNECT"):
        psycopg.connect(stranger)


def test_its_check_finds_the_roles_right_and_a_right_that_somebody_gave(made: Made) -> None:
    def found() -> tuple[int, dict[str, str]]:
        only = ("database", "roles", "secrets")
        asked = made.run("-m", "scalewitness", "check", "--json", "--only", *only)
        return asked.returncode, {one["name"]: one["state"] for one in json.loads(asked.stdout)}

    sound = dict.fromkeys(("secrets", "database", "tables", "roles", "guards"), "right")
    assert found() == (0, sound | {"keys": "unsure"})
    with psycopg.connect(made.owner_url, autocommit=True) as owner:
        role = sql.Identifier(f"{made.name}_app")
        owner.execute(sql.SQL("GRANT DELETE ON ledger_entry TO {}").format(role))
        try:
            assert found() == (1, sound | {"keys": "unsure", "roles": "wrong"})
        finally:
            owner.execute(sql.SQL("REVOKE DELETE ON ledger_entry FROM {}").format(role))


def test_without_settings_check_names_what_is_missing() -> None:
    asked = run(["-m", "scalewitness", "check", "--json"])
    (only,) = json.loads(asked.stdout)
    assert (asked.returncode, only["state"]) == (1, "wrong")
    assert "must be set in the environment" in only["words"]


def test_the_same_again_changes_nothing(made: Made) -> None:
    kept = {one: one.read_text() for one in (made.path, env_file.owners(made.path))}
    again = run(["-m", "scalewitness", "init", *made.options])
    assert again.returncode == 0, again.stderr
    assert f"had  database {made.name}" in again.stdout
    assert {one: one.read_text() for one in kept} == kept


@pytest.mark.one_in(1)
def test_new_keys_are_never_made_for_a_record_that_is_there(
    made: Made, tmp_path: Path, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file is lost, the database is not."""
    path = tmp_path / "env"
    lost = [*made.options, "--env-file", str(path)]
    assert "does not know its password" in refused(lost, capsys)
    with_both = [
        *lost,
        *("--database-url", made.settings["DATABASE_URL"]),
        *("--database-owner-url", made.owner_url),
    ]
    words = "new ones would end it: put SECRET_KEY, LOG_SIGNING_KEY, LOG_MAP_KEY"
    assert words in refused(with_both, capsys)
    assert not path.exists()


def test_what_was_made_before_a_stop_is_used_when_it_goes_on(
    options: list[str],
    tmp_path: Path,
    alone: None,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Stopped after the role of web and worker was made, and before the database."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as stopping:
        stopping.setattr("scalewitness.setting_up.database.ensure_database", stop)
        assert command.init(options) == 1
    assert "The same command goes on" in capsys.readouterr().err
    kept = (tmp_path / "etc" / "env").read_text()
    monkeypatch.setattr(command, "finish", lambda *_: [])
    monkeypatch.setattr(os, "environ", dict(os.environ))
    assert command.init(options) == 0
    assert (tmp_path / "etc" / "env").read_text() == kept
    psycopg.connect(env_file.parsed(kept)["DATABASE_URL"]).close()


def test_an_option_never_overwrites_what_the_file_says(
    options: list[str], tmp_path: Path, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "etc" / "env"
    path.parent.mkdir()
    path.write_text(f"LOG_SIGNING_KEY={fresh_log_key('record.example/log').secret()}\n")
    path.chmod(0o600)
    before = path.read_text()
    other = fresh_log_key("record.example/log").secret()
    said = refused([*options, "--set", f"LOG_SIGNING_KEY={other}"], capsys)
    assert "already says another LOG_SIGNING_KEY" in said
    assert other not in said
    assert path.read_text() == before


def test_a_file_that_others_can_read_is_refused(
    options: list[str], tmp_path: Path, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "etc" / "env"
    path.parent.mkdir()
    path.write_text("LOG_LEVEL=INFO\n")
    path.chmod(0o644)
    assert f"chmod 600 {path}" in refused(options, capsys)


def test_a_wrong_password_is_told_without_the_password(
    options: list[str],
    tmp_path: Path,
    services: Services,
    alone: None,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wrong = str(services.superuser_url).replace(
        str(urlsplit(str(services.superuser_url)).password), "guessed"
    )
    said = refused([*options, "--superuser-url", wrong], capsys)
    assert "The database cannot be reached as the superuser" in said
    assert "password authentication failed" in said
    assert "guessed" not in said
    assert not (tmp_path / "etc" / "env").exists()


def test_one_role_for_both_is_refused(
    options: list[str], services: Services, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    same = services.owner_url
    at = options.index("--superuser-url")
    given = [
        *options[:at],
        *options[at + 2 :],
        "--database-url",
        same,
        "--database-owner-url",
        same,
    ]
    assert "name one role" in refused(given, capsys)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["--public-url", "http://record.example"], "--public-url is https://HOST"),
        (["--set", "NO_SUCH=1"], "there is no setting NO_SUCH"),
        (["--set", "DEMO=1"], "DEMO is for one machine's loopback"),
        (["--set", "LOG_LEVEL=a#b"], "a value is one line without quotation marks, #"),
        (["--origin", "two words"], "an origin has no spaces"),
        (["--user", "nobody-of-this-name"], "cannot be written"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_kept(
    given: list[str],
    words: str,
    options: list[str],
    tmp_path: Path,
    alone: None,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert words in refused([*options, *given], capsys)
    assert not (tmp_path / "etc" / "env").exists()


def test_nothing_is_asked_where_nobody_can_answer(
    tmp_path: Path, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "Give --public-url." in refused(["--env-file", str(tmp_path / "env")], capsys)


@pytest.mark.parametrize(("free", "pool"), [(148, None), (97, "38"), (41, "11")])
def test_pools_are_as_large_as_a_new_server_has_connections(
    free: int,
    pool: str | None,
    options: list[str],
    tmp_path: Path,
    alone: None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """97 has PostgreSQL's own default of 100, of which 3 are for superusers; 11 is the least."""
    monkeypatch.setattr("scalewitness.setting_up.database.free_connections", lambda _: free)
    monkeypatch.setattr(command, "finish", lambda *_: [])
    monkeypatch.setattr(os, "environ", dict(os.environ))
    assert command.init(options) == 0
    assert env_file.read(tmp_path / "etc" / "env").get("DATABASE_POOL_MAX") == pool


def test_a_disk_that_is_full_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    """Here nothing may be written beyond a few bytes, which fails alike."""
    path = tmp_path / "env"
    path.write_text("LOG_LEVEL=INFO\n")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8, before[1]))
    try:
        with pytest.raises(CannotSetUp, match="cannot be written"):
            files.write(path, "LOG_LEVEL=DEBUG\n" * 1000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert path.read_text() == "LOG_LEVEL=INFO\n"
    assert [one.name for one in tmp_path.iterdir()] == ["env"]


def test_two_at_once_do_not_mix(
    options: list[str], tmp_path: Path, alone: None, capsys: pytest.CaptureFixture[str]
) -> None:
    with files.alone(tmp_path / "etc" / "env"):
        assert "Another init is at work" in refused(options, capsys)


def test_every_setting_with_an_option_is_one(tmp_path: Path) -> None:
    options = vars(answers.parser().parse_args([]))
    assert {one.lower() for one in answers.NAMED} <= set(options)


def test_keys_for_a_log_are_printed_apart_from_what_is_public(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert command.new_log_key(["record.example/log"]) == 0
    printed = capsys.readouterr()
    assert set(env_file.parsed(printed.out)) == {"LOG_SIGNING_KEY", "LOG_MAP_KEY"}
    assert printed.err.startswith("public: record.example/log+")
    assert command.new_log_key(["two words"]) == 2
