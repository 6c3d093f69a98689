"""What each host of the cluster runs, and how it is set up. README.md says why.

Three hosts have PostgreSQL under Patroni, an etcd member and a sentinel. Two have the application:
HAProxy before the database and the queue, the web, a worker, the clock, and the queue server.
"""

import json
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from cluster.hosts import NET, Host
from cluster.units import Unit, as_user
from stack.authority import CERTIFICATE, Authority
from stack.local import ROOT

DATABASES: Final = (Host("db1", 11), Host("db2", 12), Host("db3", 13))
APPLICATIONS: Final = (Host("app1", 21), Host("app2", 22))
HOSTS: Final = (*DATABASES, *APPLICATIONS)

PROGRAMS: Final = {
    "etcd": "etcd-server",
    "haproxy": "haproxy",
    "redis-server": "redis-server",
    "redis-sentinel": "redis-sentinel",
    "setpriv": "util-linux",
    "ip": "iproute2",
    "mkfs.ext4": "e2fsprogs",
}
"""What is run, and the package of Debian that has it."""
POSTGRESQL: Final = Path("/usr/lib/postgresql/15/bin")
PATRONI: Final = ROOT / ".run" / "venv-patroni" / "bin" / "patroni"
"""Not Debian 12's, which is 3.0.2: README.md says why."""
WEB_PORT: Final = 8000
REST_PORT: Final = 8008
DATABASE_PORT, QUEUE_PORT = 5432, 6379
PRIMARY_HERE, QUEUE_HERE = 5000, 6380
"""Ports of HAProxy on each application host, for that host alone."""
ETCD: Final = ",".join(f"{one.address}:2379" for one in DATABASES)

APPLICATION, PATRONIS = "application.pem", "patroni.pem"
"""Files with a certificate that is shown to etcd, and its key."""

TTL, LOOP_WAIT, RETRY_TIMEOUT = 20, 3, 5
"""Of Patroni, in seconds: how long the right to be primary lasts, how often it is looked at, how
long etcd or PostgreSQL may take. TTL must be LOOP_WAIT + 2 RETRY_TIMEOUT at least."""


def missing() -> list[str]:
    """The packages that are not installed."""
    lacking = [package for one, package in PROGRAMS.items() if shutil.which(one) is None]
    return lacking if POSTGRESQL.is_dir() else [*lacking, "postgresql-15"]


def patroni_runs() -> bool:
    """Whether the account `postgres` can run its Python where it lies, and that Python itself: it
    starts PostgreSQL by a process of its own."""
    code = "import subprocess, sys; subprocess.run([sys.executable, '-V'], check=True)"
    argv = [*as_user("postgres"), str(PATRONI.with_name("python")), "-c", code]
    return subprocess.run(argv, cwd="/", capture_output=True, check=False).returncode == 0


def disk_of(host: Host, folder: Path) -> Path:
    """Where the small disk is mounted that the host's database is on."""
    return folder / f"disk-{host.name}"


def certify(folder: Path) -> None:
    """Certificates by which the members of etcd are known, and who may ask them."""
    authority = Authority(folder)
    for host in DATABASES:
        authority.issue(f"etcd-{host.name}.pem", [host.address, "127.0.0.1"])
    authority.issue(APPLICATION, ["application"])
    shutil.chown(authority.issue(PATRONIS, ["patroni"]), "postgres", "postgres")


def etcd(host: Host, folder: Path, logs: Path) -> Unit:
    own = folder / f"etcd-{host.name}.pem"
    members = ",".join(f"{one.name}=http://{one.address}:2380" for one in DATABASES)
    options = {
        "name": host.name,
        "data-dir": folder / f"etcd-{host.name}",
        "listen-peer-urls": f"http://{host.address}:2380",
        "initial-advertise-peer-urls": f"http://{host.address}:2380",
        "listen-client-urls": f"https://{host.address}:2379,https://127.0.0.1:2379",
        "advertise-client-urls": f"https://{host.address}:2379",
        "client-cert-auth": "true",
        "trusted-ca-file": folder / CERTIFICATE,
        "cert-file": own,
        "key-file": own,
        "initial-cluster": members,
        "initial-cluster-token": "scalewitness-trial",
        # Slow disks and busy processors are no reason to choose another leader.
        "heartbeat-interval": 250,
        "election-timeout": 2500,
    }
    return Unit("etcd", host, ["etcd", *(f"--{key}={one}" for key, one in options.items())], logs)


def patroni(host: Host, folder: Path, logs: Path, secrets: Mapping[str, str]) -> Unit:
    file = folder / f"patroni-{host.name}.yml"
    # JSON is YAML.
    file.touch(mode=0o600)
    file.write_text(json.dumps(_patroni(host, folder, secrets), indent=1))
    shutil.chown(file, "postgres", "postgres")
    return Unit("patroni", host, [str(PATRONI), str(file)], logs, user="postgres")


def _patroni(host: Host, folder: Path, secrets: Mapping[str, str]) -> dict[str, Any]:
    local = {"bin_dir": str(POSTGRESQL), "data_dir": str(disk_of(host, folder) / "data")}
    return {
        "scope": "scalewitness",
        "name": host.name,
        "restapi": {
            "listen": f"{host.address}:{REST_PORT}",
            "connect_address": f"{host.address}:{REST_PORT}",
        },
        "etcd3": {
            "hosts": ETCD,
            "protocol": "https",
            "cacert": str(folder / CERTIFICATE),
            "cert": str(folder / PATRONIS),
            "key": str(folder / PATRONIS),
        },
        "bootstrap": {
            "dcs": {
                "ttl": TTL,
                "loop_wait": LOOP_WAIT,
                "retry_timeout": RETRY_TIMEOUT,
                "primary_start_timeout": 15,
                # An accepted fact is on two hosts, whichever; on one alone none is accepted.
                "synchronous_mode": "quorum",
                "synchronous_mode_strict": True,
                "synchronous_node_count": 1,
                "postgresql": {
                    "use_pg_rewind": True,
                    "use_slots": True,
                    "parameters": {
                        "synchronous_commit": "on",
                        "wal_level": "replica",
                        "hot_standby": "on",
                        "max_connections": 200,
                        "wal_keep_size": "64MB",
                        "max_wal_size": "256MB",
                        # How soon a standby, or the primary, is known to be gone.
                        "wal_sender_timeout": "8s",
                        "wal_receiver_timeout": "8s",
                    },
                },
            },
            "initdb": ["data-checksums", {"encoding": "UTF8"}, {"locale": "C.UTF-8"}],
        },
        "postgresql": {
            **local,
            "listen": f"{host.address},127.0.0.1:{DATABASE_PORT}",
            "connect_address": f"{host.address}:{DATABASE_PORT}",
            "pgpass": str(folder / f"pgpass-{host.name}"),
            "authentication": {
                "superuser": {"username": "postgres", "password": secrets["postgres"]},
                "replication": {"username": "replicator", "password": secrets["replicator"]},
                "rewind": {"username": "rewinder", "password": secrets["rewinder"]},
            },
            "parameters": {"unix_socket_directories": str(folder / f"socket-{host.name}")},
            "pg_hba": [
                "local all all scram-sha-256",
                f"host replication replicator {NET}.0/24 scram-sha-256",
                "host replication replicator 127.0.0.1/32 scram-sha-256",
                f"host all all {NET}.0/24 scram-sha-256",
                "host all all 127.0.0.1/32 scram-sha-256",
            ],
        },
        "tags": {"nofailover": False, "noloadbalance": False, "clonefrom": False},
    }


def haproxy(host: Host, folder: Path, logs: Path, secrets: Mapping[str, str]) -> Unit:
    databases = "\n".join(
        f"    server {one.name} {one.address}:{DATABASE_PORT} check port {REST_PORT}"
        for one in DATABASES
    )
    queues = "\n".join(
        f"    server {one.name} {one.address}:{QUEUE_PORT} check" for one in APPLICATIONS
    )
    file = folder / f"haproxy-{host.name}.cfg"
    file.touch(mode=0o600)
    file.write_text(
        HAPROXY.format(
            primary=PRIMARY_HERE,
            databases=databases,
            queue=QUEUE_HERE,
            queues=queues,
            password=secrets["queue"],
        )
    )
    return Unit("haproxy", host, ["haproxy", "-f", str(file)], logs)


HAPROXY: Final = """\
global
    maxconn 2000
defaults
    mode tcp
    timeout connect 2s
    timeout client 1h
    timeout server 1h
    timeout check 2s
    default-server inter 1s fall 2 rise 1 on-marked-down shutdown-sessions
listen primary
    bind 127.0.0.1:{primary}
    option httpchk OPTIONS /primary
    http-check expect status 200
{databases}
listen queue
    bind 127.0.0.1:{queue}
    option tcp-check
    tcp-check connect
    tcp-check send AUTH\\ {password}\\r\\n
    tcp-check expect string +OK
    tcp-check send info\\ replication\\r\\n
    tcp-check expect string role:master
    tcp-check send QUIT\\r\\n
{queues}
"""


def queue(host: Host, folder: Path, logs: Path, secrets: Mapping[str, str]) -> Unit:
    """The first host's is the master until the sentinels choose another. Redis writes into the
    file what became of it, so one that is there stays."""
    first, password = APPLICATIONS[0], secrets["queue"]
    file = folder / f"queue-{host.name}.conf"
    if not file.exists():
        file.touch(mode=0o600)
        file.write_text(
            f"bind {host.address} 127.0.0.1\nport {QUEUE_PORT}\nrequirepass {password}\n"
            f'masterauth {password}\nsave ""\nappendonly no\nmaxmemory-policy noeviction\n'
            + ("" if host == first else f"replicaof {first.address} {QUEUE_PORT}\n")
        )
    return Unit("queue", host, ["redis-server", str(file)], logs)


def sentinel(host: Host, folder: Path, logs: Path, secrets: Mapping[str, str]) -> Unit:
    first, file = APPLICATIONS[0], folder / f"sentinel-{host.name}.conf"
    if not file.exists():
        file.touch(mode=0o600)
        file.write_text(
            f"bind {host.address} 127.0.0.1\nport 26379\n"
            f"sentinel monitor queue {first.address} {QUEUE_PORT} 2\n"
            f"sentinel auth-pass queue {secrets['queue']}\n"
            "sentinel down-after-milliseconds queue 5000\n"
            "sentinel failover-timeout queue 15000\n"
        )
    return Unit("sentinel", host, ["redis-sentinel", str(file)], logs)


def web(host: Host, logs: Path, env: Mapping[str, str]) -> Unit:
    options = ["-c", "python:scalewitness.serving.web_server", "--graceful-timeout", "5"]
    options += ["--workers", "1", "--bind", f"{host.address}:{WEB_PORT}"]
    return _python("web", host, logs, env, "gunicorn", *options, "scalewitness.wsgi")


def worker(host: Host, logs: Path, env: Mapping[str, str]) -> Unit:
    options = ["--concurrency", "1", "--loglevel", "INFO", "--without-mingle", "--without-gossip"]
    options += ["--hostname", f"worker@{host.name}"]
    return _python(
        "worker", host, logs, env, "celery", "-A", "scalewitness.celery", "worker", *options
    )


def beat(host: Host, logs: Path, env: Mapping[str, str]) -> Unit:
    return _python("beat", host, logs, env, "scalewitness", "beat")


def _python(name: str, host: Host, logs: Path, env: Mapping[str, str], *module: str) -> Unit:
    return Unit(name, host, [sys.executable, "-m", *module], logs, env)
