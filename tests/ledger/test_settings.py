"""What the environment may say of the log's witnesses and memory, each in a process of its own."""

import os
import subprocess
import sys

import pytest
from tests.plugins.environment import ENVIRONMENT

from scalewitness.domain.translog.keys import KeyType, Signer

KEY = str(Signer("watch.example", KeyType.COSIGNATURE, bytes(32)).verifier)


@pytest.mark.parametrize(
    ("demo", "witnesses", "refused"),
    [
        ("1", f"{KEY} http://127.0.0.1:1,{KEY} https://watch.example", ""),
        ("0", f"{KEY} https://watch.example", ""),
        ("0", f"{KEY} http://watch.example", "over https"),
        ("1", "watch.example https://watch.example", "LOG_WITNESSES: a key reads"),
    ],
    ids=["demo", "https", "no https", "no key"],
)
def test_witnesses_in_the_environment(demo: str, witnesses: str, refused: str) -> None:
    said = told_by({"DEMO": demo, "LOG_WITNESSES": witnesses})
    assert bool(said) == bool(refused), said
    assert refused in said


@pytest.mark.parametrize(
    ("told", "refused"),
    [
        ({"LOG_MEMORY": "etcd://db1:2379/record"}, "in the clear"),
        ({"LOG_MEMORY": "etcd://127.0.0.1:1,10.0.0.7:2379/record"}, "in the clear"),
        ({"LOG_MEMORY": "etcd://[::1]:1,127.0.0.1:1,localhost:1"}, ""),
        ({"LOG_MEMORY": "etcd://db1:2379/record", "LOG_MEMORY_PLAIN": "1"}, ""),
        ({"LOG_MEMORY": "etcds://db1:2379/record"}, ""),
        ({"LOG_MEMORY": "https://db1:2379/record"}, "a file, etcds:// or etcd://"),
        ({"LOG_MEMORY": "etcds://db1", "LOG_MEMORY_CA": "/nowhere"}, "cannot be used"),
        ({"LOG_MEMORY": "etcds://db1", "LOG_MEMORY_KEY": __file__}, "give both"),
        ({"LOG_MEMORY": "etcd://[::1]:1", "LOG_MEMORY_CA": __file__}, "which speaks TLS"),
        ({"LOG_MEMORY": "memory", "LOG_MEMORY_CERTIFICATE": "/nowhere"}, ""),
        ({"LOG_MEMORY": "etcds://db1", "LOG_MEMORY_CERTIFICATE": __file__}, "cannot be used"),
    ],
)
def test_the_memory_is_not_spoken_to_in_the_clear(told: dict[str, str], refused: str) -> None:
    said = told_by(told)
    assert bool(said) == bool(refused), said
    assert refused in said


def told_by(told: dict[str, str]) -> str:
    """Why these settings are refused; empty where they are not."""
    env = os.environ | ENVIRONMENT | told
    env["PYTHONPATH"] = os.pathsep.join(sys.path)
    done = subprocess.run(
        [sys.executable, "-c", "import scalewitness.settings"],
        env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.stderr if done.returncode else ""
