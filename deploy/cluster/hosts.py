"""Hosts for trial: network namespaces, joined by a bridge.

Cutting a host's network takes its end of the cable down, so that packets are lost and nobody is
told. Needs root and `ip` (iproute2).
"""

import os
import signal
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass

BRIDGE = "scalewitness0"
NET = "10.77.0"
OUTSIDE = f"{NET}.1"
"""The address of this machine on the bridge: clients speak from there."""


@dataclass(frozen=True, slots=True)
class Host:
    """``number``: the last part of its address."""

    name: str
    number: int

    @property
    def address(self) -> str:
        return f"{NET}.{self.number}"

    @property
    def space(self) -> str:
        return f"scalewitness-{self.name}"

    @property
    def cable(self) -> str:
        """This machine's end of it; interfaces have at most 15 letters."""
        return f"sw-{self.name}"

    def within(self, argv: Sequence[str]) -> list[str]:
        """A command line that runs another one on this host."""
        return ["ip", "netns", "exec", self.space, *argv]

    def cut(self) -> None:
        """Nothing gets out or in any more."""
        _ip("link", "set", self.cable, "down")

    def mend(self) -> None:
        _ip("link", "set", self.cable, "up")

    def cut_from(self, other: "Host") -> None:
        """Nothing gets from here to there any more: answers neither."""
        _ip("-n", self.space, "route", "add", "blackhole", f"{other.address}/32")

    def mend_with(self, other: "Host") -> None:
        _ip("-n", self.space, "route", "del", "blackhole", f"{other.address}/32")

    def processes(self) -> list[int]:
        """The ids of all that runs here."""
        found = subprocess.run(
            ["ip", "netns", "pids", self.space], capture_output=True, text=True, check=True
        )
        return [int(one) for one in found.stdout.split()]

    def power_off(self) -> None:
        """Kill all of it at once, as often as something is left."""
        while left := self.processes():
            for process in left:
                with suppress(ProcessLookupError):
                    os.kill(process, signal.SIGKILL)


@contextmanager
def joined(hosts: Sequence[Host]) -> Iterator[None]:
    """Within the block the hosts and the bridge between them exist."""
    take_away(hosts)
    try:
        _ip("link", "add", BRIDGE, "type", "bridge")
        _ip("addr", "add", f"{OUTSIDE}/24", "dev", BRIDGE)
        _ip("link", "set", BRIDGE, "up")
        for host in hosts:
            _plug_in(host)
        yield
    finally:
        take_away(hosts)


def take_away(hosts: Sequence[Host]) -> None:
    """What a run leaves, also one that was killed."""
    for host in hosts:
        with suppress(subprocess.CalledProcessError):
            host.power_off()
            _ip("netns", "del", host.space)
    with suppress(subprocess.CalledProcessError):
        _ip("link", "del", BRIDGE)


def _plug_in(host: Host) -> None:
    _ip("netns", "add", host.space)
    _ip("link", "add", host.cable, "type", "veth", "peer", "name", "eth0", "netns", host.space)
    _ip("link", "set", host.cable, "master", BRIDGE, "up")
    inside = ("-n", host.space)
    _ip(*inside, "addr", "add", f"{host.address}/24", "dev", "eth0")
    _ip(*inside, "link", "set", "lo", "up")
    _ip(*inside, "link", "set", "eth0", "up")


def _ip(*arguments: str) -> None:
    subprocess.run(["ip", *arguments], capture_output=True, text=True, check=True)
