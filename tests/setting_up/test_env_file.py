"""The file of settings: what it takes, and the example of it."""

from pathlib import Path

import pytest

from scalewitness import env_file
from scalewitness.setting_up.example import example, variables

ROOT = Path(__file__).parents[2]


def test_the_example_is_that_of_the_settings() -> None:
    kept = (ROOT / "deploy" / "env.example").read_text()
    assert kept == example(), "scalewitness-server env_example > deploy/env.example"


def test_the_example_is_a_file_of_settings_and_has_every_variable_once() -> None:
    """So that nothing in it has to be changed but what must be given."""
    must = {one.name for one in variables() if one.default is None}
    assert env_file.parsed(example()) == dict.fromkeys(must, "")
    assert must >= {"SECRET_KEY", "DATABASE_URL", "LOG_SIGNING_KEY", "LOG_MAP_KEY", "PUBLIC_URL"}
    for one in variables():
        assert example().count(f"\n#{one.name}=") + example().count(f"\n{one.name}=") == 1


def test_what_is_filled_in_is_read_again_and_the_rest_stays() -> None:
    values = {"SECRET_KEY": "a+b/c=", "MAIL_FROM": "The club <record@club.example>", "NEW": "1"}
    text = env_file.filled(example(), values)
    assert {name: env_file.parsed(text)[name] for name in values} == values
    assert env_file.filled(text, values) == text
    comments = [line for line in example().splitlines() if line.startswith("# ")]
    assert [line for line in text.splitlines() if line.startswith("# ")] == comments


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('SECRET_KEY="quoted"', "line 2: SECRET_KEY: a value is one line without quotation marks"),
        ("SECRET_KEY=costs $5", "without quotation marks, #, $"),
        ("SECRET_KEY=ends with a space ", "spaces at its ends"),
        ("export SECRET_KEY=a", "no name of a setting"),
        ("FIRST=again", "line 2 stands twice"),
        ("what is this", "line 2 is not NAME=value"),
    ],
)
def test_a_line_that_systemd_and_podman_read_differently_is_refused(line: str, words: str) -> None:
    with pytest.raises(env_file.BadEnvFile) as refused:
        env_file.parsed(f"FIRST=a\n{line}\n")
    assert words in str(refused.value)
    assert "quoted" not in str(refused.value).replace("quotation", "")


def test_the_environment_counts_before_the_file(tmp_path: Path) -> None:
    path = tmp_path / "env"
    path.write_text("LOG_LEVEL=DEBUG\nFEED_WAITERS=4\n")
    environment = {env_file.VARIABLE: str(path), "LOG_LEVEL": "ERROR"}
    env_file.load(environment)
    assert environment == {env_file.VARIABLE: str(path), "LOG_LEVEL": "ERROR", "FEED_WAITERS": "4"}


def test_web_and_worker_do_not_take_the_owners_file_and_the_operator_does(tmp_path: Path) -> None:
    path = tmp_path / "env"
    path.write_text("LOG_LEVEL=DEBUG\n")
    env_file.owners(path).write_text("DATABASE_OWNER_URL=postgresql://owner@db/record\n")
    environment = {env_file.VARIABLE: str(path)}
    env_file.load(environment)
    assert "DATABASE_OWNER_URL" not in environment
    env_file.load_for_operator(environment)
    assert environment["DATABASE_OWNER_URL"] == "postgresql://owner@db/record"


def test_a_file_that_is_not_there_is_told_of(tmp_path: Path) -> None:
    with pytest.raises(env_file.BadEnvFile, match="cannot be read: No such file"):
        env_file.load({env_file.VARIABLE: str(tmp_path / "none")})
