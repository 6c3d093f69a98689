"""The whole service, really started: one test, because it takes ten seconds."""

import http.client
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
from tests.deploy.test_supervisor import running_pids

from stack import postgres
from stack.guard import group_members
from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


@pytest.fixture
def local(tmp_path: Path, supervisor: Supervisor) -> Iterator[LocalStack]:
    yield LocalStack(supervisor, tmp_path / "data", free_port(), given={}, durable=False)
    supervisor.stop()
    postgres.remove(tmp_path / "data" / "postgres")


def status(port: int, path: str) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.request("GET", path)
    try:
        return connection.getresponse().status
    finally:
        connection.close()


@pytest.mark.long(
    "a service from nothing, killed and started again; "
    "tests/deploy/test_supervisor.py::test_one_service_can_crash_and_come_back"
)
def test_the_service_starts_survives_a_crash_of_its_parts_and_leaves_nothing(
    local: LocalStack, supervisor: Supervisor
) -> None:
    local.start()
    pids = running_pids(supervisor.folder)
    assert list(pids) == ["postgres", "valkey", "mail", "web", "worker"]
    assert status(local.port, "/health/ready") == 200
    for name in ("web", "worker"):
        environment = psutil.Process(pids[name]).environ()
        assert "scalewitness_app" in environment["DATABASE_URL"]
        assert "DATABASE_OWNER_URL" not in environment
    # Loaded before it forked its workers: a connection made by then would be theirs in common.
    master = psutil.Process(pids["web"])
    assert len(master.children()) == 2
    assert [one.status for one in master.net_connections("tcp")] == ["LISTEN"]

    for name, again in (("web", local.start_web), ("worker", local.start_worker)):
        supervisor.kill(name)
        assert group_members(pids[name]) == []
        again()
    assert status(local.port, "/health/ready") == 200

    pids |= running_pids(supervisor.folder)
    supervisor.stop()
    assert [group_members(pid) for pid in pids.values()] == [[]] * 5
