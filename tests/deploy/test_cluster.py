"""What can be seen of the cluster without one: its settings, and what its faults are judged by.

The cluster itself is a command, ``./deploy/cluster/faults``.
"""

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from cluster import parts
from cluster.breaking import FAULTS
from cluster.clients import longest_gap
from cluster.faults import _roots
from cluster.hosts import Host
from cluster.trial import _environment
from scalewitness.domain.translog.tree import Frontier

HERE = Path(parts.__file__).parent
SECRETS = dict.fromkeys(("postgres", "replicator", "rewinder", "queue"), "a-secret")


def patroni() -> dict[str, object]:
    found = parts._patroni(parts.DATABASES[0], Path("/nowhere"), SECRETS)
    return json.loads(json.dumps(found))["bootstrap"]["dcs"]  # type: ignore[no-any-return]


def test_what_is_accepted_waits_for_a_standby_whatever_happens() -> None:
    dcs = patroni()
    names = ("synchronous_mode", "synchronous_mode_strict", "synchronous_node_count")
    assert [dcs[name] for name in names] == ["quorum", True, 1]


def test_etcd_answers_nobody_without_a_certificate(tmp_path: Path) -> None:
    """Neither the application nor Patroni asks it without."""
    argv = parts.etcd(parts.DATABASES[0], tmp_path, tmp_path)._argv
    assert "--client-cert-auth=true" in argv
    assert not [one for one in argv if one.startswith("--listen-client") and "http://" in one]
    asked = parts._patroni(parts.DATABASES[0], tmp_path, SECRETS)["etcd3"]
    assert asked["protocol"] == "https"
    assert asked["cert"] == str(tmp_path / parts.PATRONIS)
    told = _environment(tmp_path, dict.fromkeys(("app", "queue"), "a-secret"))
    assert told["LOG_MEMORY"].startswith("etcds://")
    assert told["LOG_MEMORY_CERTIFICATE"] == str(tmp_path / parts.APPLICATION)


def test_patroni_may_act_in_time() -> None:
    """Patroni's own rule (https://patroni.readthedocs.io, “Dynamic configuration settings”)."""
    assert parts.LOOP_WAIT + 2 * parts.RETRY_TIMEOUT <= parts.TTL
    assert patroni()["ttl"] == parts.TTL


def test_the_guide_has_the_settings_that_were_measured() -> None:
    guide = (HERE / "README.md").read_text()
    stated = f"| {parts.TTL}, {parts.LOOP_WAIT}, {parts.RETRY_TIMEOUT} |"
    assert stated in guide
    for line in ("inter 1s fall 2 rise 1", "on-marked-down shutdown-sessions"):
        assert line in guide
        assert line in parts.HAPROXY


def test_the_figures_are_of_faults_that_the_command_plays() -> None:
    figures = (HERE / "FIGURES.md").read_text()
    table = figures.partition("|---|---|---|---|---|---|---|\n")[2]
    lines = re.findall(r"^\| ([^|]+) \|", table, re.MULTILINE)
    assert len(lines) >= 20
    assert set(lines) <= {one.name for one in FAULTS}


@pytest.mark.skipif(shutil.which("haproxy") is None, reason="needs haproxy")
def test_haproxy_takes_its_configuration(tmp_path: Path) -> None:
    parts.haproxy(Host("app1", 21), tmp_path, tmp_path, SECRETS)
    done = subprocess.run(
        ["haproxy", "-c", "-f", str(tmp_path / "haproxy-app1.cfg")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_the_longest_gap_is_between_what_was_and_the_ends() -> None:
    assert longest_gap([1, 5, 12, 30], 0, 15) == 7
    assert longest_gap([], 2, 9) == 7


def test_a_checkpoint_of_another_log_is_none_of_its_roots() -> None:
    leaves = [bytes([number]) * 32 for number in range(5)]
    roots = _roots(leaves)
    assert roots[3] == Frontier().append(leaves[:3]).root()
    assert roots[3] != Frontier().append([leaves[0], leaves[2], leaves[1]]).root()
