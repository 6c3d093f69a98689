"""What the environment may say of the log's witnesses, each in a process of its own."""

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
    env = os.environ | ENVIRONMENT | {"DEMO": demo, "LOG_WITNESSES": witnesses}
    env["PYTHONPATH"] = os.pathsep.join(sys.path)
    done = subprocess.run(
        [sys.executable, "-c", "import scalewitness.settings"],
        env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode != 0) == bool(refused), done.stderr
    assert refused in done.stderr
