"""The queue server of the local stack."""

from pathlib import Path

import pytest
import redis
from redis.backoff import NoBackoff
from redis.retry import Retry

from stack.supervisor import Supervisor
from stack.valkey import Valkey


def test_answers_whoever_knows_the_password(supervisor: Supervisor, tmp_path: Path) -> None:
    server = Valkey(tmp_path / "valkey")
    assert not server.answers()

    supervisor.start(server.service())

    assert server.answers()
    once = Retry(NoBackoff(), retries=0)
    with (
        redis.Redis(host="127.0.0.1", port=server.port, retry=once) as stranger,
        pytest.raises(redis.AuthenticationError),
    ):
        stranger.ping()
