"""Bring ``deploy/compose.yaml`` up as the operator's guide says: ``./deploy/try_compose``.

Types the guide's blocks for containers, with Podman and podman-compose, and looks at what came
about: health, sign-in and pushes over TLS, a letter, crashes, an upgrade, a stop, rights, secrets,
logs.
Prints each step with its seconds, and ends with 1 at the first that is not done.

It says nothing of the images that registries have: for PostgreSQL, queue and proxy it takes
stand-ins from Debian's packages (PostgreSQL 15, Redis under Valkey's names, Caddy 2.6).

It takes root, some Debian packages (it says which), some minutes and ports 80 and 443. The image is
made of this folder as it stands, compose.yaml and the guide are as they were committed. Images
stay; containers, volumes and networks do not.
"""

import argparse
import json
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from stack.compose.containers import OURS, PROJECT, Containers, comes_true, name_of
from stack.compose.images import environment, make_images, make_next
from stack.compose.keeper import Keeper
from stack.guide.__main__ import GUIDE, NAME, PASSWORD
from stack.guide.bare import SHELL, Session, is_root
from stack.guide.blocks import IN_CONTAINERS, blocks_of, filled_in
from stack.guide.prying import Prying
from stack.guide.pushing import Pusher
from stack.guide.steps import NotDone, Steps, require
from stack.local import ROOT
from stack.mailsink import MailSink
from stack.ready import port_is_free

TOOLS = {
    "mmdebstrap": "mmdebstrap",
    "buildah": "buildah",
    "podman": "podman",
    "podman-compose": "podman-compose",
    "catatonit": "catatonit",
    "/usr/lib/podman/netavark": "netavark",
    "/usr/lib/podman/aardvark-dns": "aardvark-dns",
}
"""By the package that has them."""
PORTS = (80, 443)
URLS = ("DATABASE_URL", "EMAIL_URL")
"""With passwords."""
EVERYWHERE = "0.0.0.0"  # noqa: S104  containers reach this host at the address of their bridge
CERTIFICATE = "/data/caddy/pki/authorities/local/root.crt"
COMPOSE = f'podman-compose() {{ command podman-compose --project-name {PROJECT} "$@"; }}\n'
AT_BOOT = ("start", "--all", "--filter", "restart-policy=always")
"""What podman-restart.service does."""


class Trial(Steps):
    """One run, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self.folder = folder.resolve()
        self.deploy = self.folder / "checkout" / "deploy"
        self.typed = (self.folder / "typed.log").open("wb")

    def follow(self, again: bool) -> None:
        with self.step("images"):
            if not again:
                make_images()
        added = environment(self.folder)
        self.containers = Containers(added)
        self.blocks = blocks_of(GUIDE, IN_CONTAINERS)
        variables = [f"{name}={value}" for name, value in added.items()]
        argv = ["env", "-u", "PYTHONPATH", "-C", str(self.deploy), *variables, *SHELL]
        self.shell = Session(argv, self.typed, self.folder, str(self.folder))
        with MailSink(self.folder / "letters", host=EVERYWHERE) as self.letters:
            try:
                self._set_up()
                self._use()
                self._look()
                self._break()
                self._read_logs()
                self._go_on()
                self._end()
            finally:
                self.shell.end()
                self.containers.remove()

    def type(self, name: str, block: str) -> None:
        require(self.shell.type(name, block), f"“{name}” of the guide did not end well")

    def _set_up(self) -> None:
        values = filled_in(blocks_of(GUIDE)["values"], {"TLS": "internal"})
        mail = f"EMAIL_URL=smtp://host.containers.internal:{self.letters.port}\n"
        with self.step("settings, database and queue"):
            self.type("values", values + mail + COMPOSE)
            self.type("settings", self.blocks["settings"])
        secret = (self.deploy / "settings" / "postgres").read_text().strip()
        prying = Prying([PASSWORD, secret])
        prying.start()
        with self.step("init"):
            self.type("init", self.blocks["init"])
        with self.step("up, and ready"):
            self.type("up", NAMED + self.blocks["up"])
        prying.stop()
        require(not prying.seen, "a secret stood in a command line")
        with self.step("every health check"):
            self._all_well()

    def _use(self) -> None:
        trusted = self.containers.inside("proxy", "cat", CERTIFICATE)
        with self.step("sign-in over TLS, a push, the phone's page, a letter"):
            self.keeper = Keeper(NAME, trusted)
            self.keeper.sign_in("you@provider.example", PASSWORD)
            self.keeper.register_animal()
            require("<title>" in self.keeper.page("/rackside/"), "there is no page for the phone")
            self.keeper.ask_for_account("somebody@provider.example", "as long as it must be")
            require(comes_true(lambda: bool(self.letters.accepted)), "no letter came")

    def _break(self) -> None:
        shown = self.keeper.certificate()
        for part in ("web", "postgres", "queue", "proxy", "worker", "beat"):
            with self.step(f"{part} crashes, and comes back"):
                self._under_load(partial(self._crash, part))
        require(self.keeper.certificate() == shown, "the proxy has another certificate")

    def _crash(self, part: str) -> None:
        before = self.containers.seen(part)["State"]["Pid"]
        self.containers.crash(part)
        require(
            comes_true(lambda: self.containers.seen(part)["State"]["Pid"] not in {0, before}),
            f"{part} did not come back",
        )
        require(comes_true(self.keeper.is_ready), "the record did not come back")
        require(comes_true(partial(self.containers.is_well, part)), f"{part} is unwell")

    def _go_on(self) -> None:
        with self.step("up once more changes nothing"):
            before = {part: self.containers.seen(part)["Id"] for part in OURS}
            self.type("again", self.blocks["up"])
            require(
                before == {part: self.containers.seen(part)["Id"] for part in OURS}, "it changed"
            )
        with self.step("upgrade"):
            make_next()
            image = self.containers.seen("web")["Image"]
            self._under_load(lambda: self.type("upgrade", self.blocks["upgrade"]))
            for part in ("web", "worker", "beat"):
                require(self.containers.seen(part)["Image"] != image, f"{part} is the old one")
        stop, down = (f"podman-compose {how} --timeout 150\n" for how in ("stop", "down"))
        self._come_back(
            "stop and start", stop, partial(self.type, "start", "podman-compose start\n")
        )
        self._come_back(
            "stop, and start as at boot", stop, partial(self.containers.podman, *AT_BOOT)
        )
        self._come_back("down and up", down, partial(self.type, "up", self.blocks["up"]))
        with self.step("every health check, once more"):
            self._all_well()

    def _come_back(self, name: str, stop: str, start: Callable[[], object]) -> None:
        with self.step(name):
            self.type("stop", stop)
            require("running" not in self.containers.there().values(), "something goes on")
            start()
            require(comes_true(self.keeper.is_ready), "the record did not come back")
            require(not self.pushed.lost_or_doubled(), "facts were lost or doubled")

    def _under_load(self, does: Callable[[], None]) -> None:
        """While somebody pushes: nothing accepted may be lost or doubled."""
        self.pushed = Pusher(NAME, self.keeper.token, self.keeper.animal, self.keeper.context)
        self.pushed.start()
        try:
            does()
        finally:
            self.pushed.stop()
        print(f"({len(self.pushed.accepted)} taken, {dict(self.pushed.answers)})", end=" ")
        lost = self.pushed.lost_or_doubled()
        require(not lost, f"{len(lost)} facts were lost or doubled")

    def _all_well(self) -> None:
        for part in OURS:
            require(comes_true(partial(self.containers.is_well, part)), f"{part} is unwell")

    def _look(self) -> None:
        with self.step("read-only, and without rights"):
            faults = list(self.containers.faults_of_holding())
            require(not faults, "; ".join(faults))
        with self.step("no secret in what Podman shows"):
            settings = (self.deploy / "settings" / "env").read_text()
            pairs = [line.partition("=") for line in settings.splitlines()]
            kept = [value for name, _, value in pairs if "KEY" in name or name in URLS]
            kept += [(self.deploy / "settings" / "postgres").read_text().strip(), PASSWORD]
            for name in self.containers.there():
                shown = self.containers.podman("inspect", name)
                require(not any(one in shown for one in kept if one), f"inspect {name} shows one")
        with self.step("one beat"):
            self.type("beat", "podman-compose up -d beat\n")
            beats = [name for name in self.containers.there() if "beat" in name]
            require(beats == [name_of("beat")], f"there are {beats}")

    def _read_logs(self) -> None:
        with self.step("logs are lines of JSON"):
            for part in ("web", "worker", "beat"):
                lines = self.containers.logs(part)
                # A beat tells of faults only.
                require(bool(lines) or part == "beat", f"{part} says nothing")
                for line in lines:
                    require(_is_json(line), f"{part} says: {line}")

    def _end(self) -> None:
        with self.step("down"):
            self.type("down", "podman-compose down --timeout 150\n")
            require(not self.containers.there(), "a container is left")


# The guide's name leads nowhere here.
NAMED = f'curl() {{ command curl --resolve {NAME}:443:127.0.0.1 "$@"; }}\n'


def main(arguments: Sequence[str] | None = None) -> int:
    """Returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="./deploy/try_compose",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--folder", type=Path, default=ROOT / ".run" / "compose", help="of its own (.run/compose)"
    )
    parser.add_argument("--again", action="store_true", help="with the images of the last run")
    given = parser.parse_args(arguments)
    if refusal := _cannot():
        print(refusal, file=sys.stderr)
        return 2
    _checkout(given.folder)
    print("PostgreSQL, queue and proxy are stand-ins from Debian's packages.")
    trial = Trial(given.folder)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that nothing is left
    try:
        trial.follow(given.again)
    except (NotDone, subprocess.CalledProcessError, OSError) as fault:
        print(f"\nNot done: {fault}. {trial.folder / 'typed.log'} has more.", file=sys.stderr)
        return 1
    print(f"All of it: {sum(trial.seconds.values()):.0f} s")
    return 0


def _cannot() -> str:
    """Why it cannot be tried here, or nothing."""
    if not is_root():
        return "This takes root."
    if missing := sorted({package for tool, package in TOOLS.items() if not shutil.which(tool)}):
        return f"This needs: apt-get install --no-install-recommends {' '.join(missing)}"
    if taken := [str(port) for port in PORTS if not port_is_free(port)]:
        return f"Something listens here already: port {', '.join(taken)}."
    named = ["podman", "ps", "--all", "--quiet", "--filter", "name=^scalewitness-"]
    if subprocess.run(named, capture_output=True, check=False).stdout:
        return "There are containers of a record here."
    return ""


def _checkout(folder: Path) -> None:
    """What is committed, without the settings of an earlier trial."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in ("checkout", "letters"):
        shutil.rmtree(folder / old, ignore_errors=True)
    clone = ["git", "clone", "--quiet", "--no-local", str(ROOT), str(folder / "checkout")]
    subprocess.run(clone, check=True)


def _is_json(line: str) -> bool:
    try:
        return isinstance(json.loads(line), dict)
    except ValueError:
        return False


if __name__ == "__main__":
    sys.exit(main())
