"""What may go wrong in a cluster: each fault breaks something, holds it broken, and mends it."""

import signal
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import httpx
import psutil
import psycopg

from cluster.hosts import Host
from cluster.parts import APPLICATIONS, DATABASES, HOSTS, REST_PORT, disk_of
from cluster.trial import NotReady, Trial

HELD: Final = 24.0
"""Seconds for which most things stay broken: longer than Patroni's TTL, so that it acts."""
SHORT: Final = 12.0
"""The same where nobody has to act: longer than anybody waits for an answer."""

Do = Callable[[Trial], None]
KILL, STOP, GO = signal.SIGKILL, signal.SIGSTOP, signal.SIGCONT


@dataclass(frozen=True, slots=True)
class Fault:
    """``held``: seconds for which nothing can be written meanwhile, as is meant."""

    name: str
    do: Do
    held: float = 0.0


def primary(trial: Trial) -> Host:
    return _sure(trial.primary())


def standby(trial: Trial) -> Host:
    """The first of those that commits wait for."""
    return _sure(trial.standby())


def third(trial: Trial) -> Host:
    """The database host that is neither."""
    taken = (primary(trial), standby(trial))
    return next(one for one in DATABASES if one not in taken)


def app1(trial: Trial) -> Host:
    return APPLICATIONS[0]


Where = Callable[[Trial], Host]


def _sure(host: Host | None) -> Host:
    if host is None:
        raise NotReady("there is no primary, or no standby")
    return host


def _killed(unit: str, where: Where) -> Do:
    def do(trial: Trial) -> None:
        trial.unit(unit, where(trial)).kill()

    return do


def _stopped(unit: str, where: Where, seconds: float = HELD) -> Do:
    def do(trial: Trial) -> None:
        one = trial.unit(unit, where(trial))
        one.send(STOP)
        time.sleep(seconds)
        one.send(GO)

    return do


def _send(processes: Sequence[int], number: signal.Signals) -> None:
    for process in processes:
        with suppress(psutil.NoSuchProcess):
            psutil.Process(process).send_signal(number)


def _postgresql(host: Host) -> list[int]:
    """Its processes; Patroni's are none."""
    found = []
    for process in host.processes():
        with suppress(psutil.NoSuchProcess):
            if psutil.Process(process).name() == "postgres":
                found.append(process)
    return found


def _killed_postgresql(where: Where) -> Do:
    return lambda trial: _send(_postgresql(where(trial)), KILL)


def _stopped_postgresql(where: Where) -> Do:
    def do(trial: Trial) -> None:
        processes = _postgresql(where(trial))
        _send(processes, STOP)
        time.sleep(HELD)
        _send(processes, GO)

    return do


def _stopped_host(where: Where) -> Do:
    def do(trial: Trial) -> None:
        processes = where(trial).processes()
        _send(processes, STOP)
        time.sleep(HELD)
        _send(processes, GO)

    return do


def _cut(*where: Where, seconds: float = HELD) -> Do:
    def do(trial: Trial) -> None:
        hosts = [one(trial) for one in where]
        for host in hosts:
            host.cut()
        time.sleep(seconds)
        for host in hosts:
            host.mend()

    return do


def _without_power(*where: Where, seconds: float = HELD) -> Do:
    def do(trial: Trial) -> None:
        with without_power(trial, *(one(trial) for one in where)):
            time.sleep(seconds)

    return do


@contextmanager
def without_power(trial: Trial, *hosts: Host) -> Iterator[None]:
    """Within the block nothing runs on these hosts; what they had in memory is gone."""
    for host in hosts:
        host.power_off()
    for host in hosts:
        for unit in trial.on(host):
            unit.end()
        host.power_off()  # what was started again in between
    try:
        yield
    finally:
        for host in hosts:
            for unit in trial.on(host):
                unit.start()


def all_lose_power(trial: Trial) -> None:
    with without_power(trial, *HOSTS):
        time.sleep(5)


def cut_apart(trial: Trial) -> None:
    """The primary and a standby do not see each other; everybody else sees both."""
    one, other = primary(trial), standby(trial)
    with apart(one, other):
        time.sleep(HELD)


@contextmanager
def apart(one: Host, *others: Host) -> Iterator[None]:
    for other in others:
        one.cut_from(other)
        other.cut_from(one)
    try:
        yield
    finally:
        for other in others:
            one.mend_with(other)
            other.mend_with(one)


def etcd_leader(trial: Trial) -> Host:
    return trial.etcd_leader()


def two_members_killed(trial: Trial) -> None:
    """Without most of etcd nobody may be primary."""
    units = [trial.unit("etcd", one) for one in DATABASES[:2]]
    for unit in units:
        unit.end()
    time.sleep(HELD)
    for unit in units:
        unit.start()


def switched_over(trial: Trial) -> None:
    """As an operator asks for it."""
    now, then = primary(trial), standby(trial)
    asked = {"leader": now.name, "candidate": then.name}
    url = f"http://{now.address}:{REST_PORT}/switchover"
    httpx.post(url, json=asked, timeout=60).raise_for_status()


def wait_cancelled(trial: Trial) -> None:
    """The primary loses both standbys, and somebody cancels each wait for them, so that it commits
    what nobody else has. Then it loses its power, and a standby takes over."""
    now = primary(trial)
    others = [one for one in DATABASES if one != now]
    trial.unit("patroni", now).send(STOP)  # else it stops being primary as soon as it is alone
    with apart(now, *others):
        _cancel_all_waits(trial, now, seconds=6)
        with without_power(trial, now):
            time.sleep(HELD)


def _cancel_all_waits(trial: Trial, host: Host, seconds: float) -> None:
    until, cancelled = time.monotonic() + seconds, 0
    with trial.superuser(host) as hand:
        while time.monotonic() < until:
            cancelled += hand.execute(
                "SELECT pg_cancel_backend(pid) FROM pg_stat_activity WHERE wait_event = 'SyncRep'"
            ).rowcount
            time.sleep(0.05)
    if not cancelled:
        raise NotReady("nobody waited for a standby")


def ended_sessions(trial: Trial) -> None:
    """Each session of the application is ended, over and over, in the middle of what it did."""
    with trial.superuser(primary(trial)) as hand:
        for _ in range(40):
            hand.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE usename = 'scalewitness_app'"
            )
            time.sleep(0.25)


def disk_full(trial: Trial) -> None:
    """Of the primary's database: its folder is on a small disk of its own."""
    filler = disk_of(primary(trial), trial.folder) / "filler"
    _fill(filler)
    time.sleep(HELD)
    filler.unlink()


def _fill(file: Path) -> None:
    """Take all the room that is left, down to the last pages."""
    with suppress(OSError), file.open("wb", buffering=0) as filler:
        while True:
            filler.write(bytes(1 << 20))
    with suppress(OSError), file.open("ab", buffering=0) as filler:
        while True:
            filler.write(bytes(1 << 12))


def beating(trial: Trial) -> Host:
    """Where the clock runs."""
    with trial.superuser(primary(trial)) as hand, suppress(psycopg.Error):
        ((address,),) = hand.execute(
            "SELECT client_addr FROM pg_stat_activity a JOIN pg_locks l USING (pid) "
            "WHERE l.locktype = 'advisory' AND a.state = 'idle' LIMIT 1"
        ).fetchall()
        return next(one for one in APPLICATIONS if one.address == str(address))
    return APPLICATIONS[0]


FAULTS: Final = (
    Fault("PostgreSQL on the primary killed", _killed_postgresql(primary)),
    Fault("PostgreSQL on the primary stopped", _stopped_postgresql(primary)),
    Fault("Patroni on the primary killed", _killed("patroni", primary)),
    Fault("Patroni on the primary stopped", _stopped("patroni", primary)),
    Fault("the primary's host without power", _without_power(primary)),
    Fault("the primary's host stopped, then woken", _stopped_host(primary)),
    Fault("the primary's network cut", _cut(primary)),
    Fault("switch to the standby, as asked for", switched_over),
    Fault("PostgreSQL on a standby killed", _killed_postgresql(standby)),
    Fault("PostgreSQL on a standby stopped", _stopped_postgresql(standby)),
    Fault("a standby's host without power", _without_power(standby)),
    Fault("a standby's network cut", _cut(standby)),
    Fault("primary and a standby cut from each other", cut_apart),
    Fault("both standbys without power", _without_power(standby, third), HELD),
    Fault("primary and a standby without power", _without_power(primary, standby), HELD),
    Fault("both standbys cut, each wait cancelled, failover", wait_cancelled),
    Fault("every session of the application ended, for 10 s", ended_sessions),
    Fault("the primary's disk full", disk_full, HELD),
    Fault("all five hosts without power at once", all_lose_power, 5.0),
    Fault("etcd's leader killed", _killed("etcd", etcd_leader)),
    Fault("etcd's leader stopped", _stopped("etcd", etcd_leader)),
    Fault("the network of etcd's leader cut", _cut(etcd_leader)),
    Fault("two of three etcd members away", two_members_killed, HELD),
    Fault("web on one host killed", _killed("web", app1)),
    Fault("web on one host stopped", _stopped("web", app1, SHORT)),
    Fault("HAProxy on one host killed", _killed("haproxy", app1)),
    Fault("HAProxy on one host stopped", _stopped("haproxy", app1, SHORT)),
    Fault("worker on one host killed", _killed("worker", app1)),
    Fault("worker on one host stopped", _stopped("worker", app1, SHORT)),
    Fault("the clock killed where it runs", _killed("beat", beating)),
    Fault("the clock stopped where it runs", _stopped("beat", beating, SHORT)),
    Fault("the queue's first server killed", _killed("queue", app1)),
    Fault("the queue's first server stopped", _stopped("queue", app1, SHORT)),
    Fault("an application host without power", _without_power(app1)),
    Fault("an application host's network cut", _cut(app1)),
)
