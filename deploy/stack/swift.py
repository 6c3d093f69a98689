"""OpenStack Swift from Debian's packages, which speaks S3: a real object store on the loopback.

One disk, one copy of each object, nothing kept for longer than its folder: for trials and tests.
"""

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from stack.ready import LOOPBACK, free_port, http_ok, tcp
from stack.secretfile import kept_secret
from stack.supervisor import Service

PACKAGES: Final = "swift-proxy swift-account swift-container swift-object memcached"
KEEPERS: Final = ("account", "container", "object")
"""What keeps listings of containers, listings of objects, and objects."""
SHARED: Final = Path("/etc/swift/swift.conf")
"""Read by every part of Swift, wherever else its settings lie; the package brings it."""


class Swift:
    """Proxy, its three keepers and memcached; ``folder`` has their settings and one disk, which
    must be able to hold extended attributes."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder.resolve()
        self.port = free_port()
        self.address = f"http://{LOOPBACK}:{self.port}"
        self.key = "photos:keeper"
        self.secret = kept_secret(self.folder / "secret")
        self._ports = {name: free_port() for name in (*KEEPERS, "memcached")}

    def services(self) -> Iterator[Service]:
        """Its processes in the order to start them; settings and rings are written here."""
        for name in KEEPERS:
            (self.folder / "disks" / "d1").mkdir(parents=True, exist_ok=True)
            self._ring(name)
            self._settings(name, KEEPER.format(name=name, **self._values(name)))
        users = f"user_photos_keeper = {self.secret} .admin"
        self._settings("proxy", PROXY.format(users=users, **self._values("proxy")))
        port = str(self._ports["memcached"])
        cache = ["memcached", "-l", LOOPBACK, "-p", port, "-U", "0", "-u", "nobody"]
        yield Service("memcached", cache, ready=tcp(int(port)))
        for name in KEEPERS:
            yield self._service(name, self._ports[name])
        yield self._service("proxy", self.port)

    def _service(self, name: str, port: int) -> Service:
        file = str(self.folder / f"{name}.conf")
        ready = http_ok(f"http://{LOOPBACK}:{port}/healthcheck")
        return Service(f"swift-{name}", [f"swift-{name}-server", file, "-v"], ready=ready)

    def _ring(self, name: str) -> None:
        builder = str(self.folder / f"{name}.builder")
        device = f"r1z1-{LOOPBACK}:{self._ports[name]}/d1"
        for order in (["create", "4", "1", "1"], ["add", device, "1"], ["rebalance"]):
            command = ["swift-ring-builder", builder, *order]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode > 1:  # 1: with a warning, as of one copy
                raise OSError(f"swift-ring-builder: {done.stdout}{done.stderr}")

    def _settings(self, name: str, text: str) -> None:
        file = self.folder / f"{name}.conf"
        file.touch(mode=0o600)
        file.write_text(text)

    def _values(self, name: str) -> dict[str, object]:
        return {
            "host": LOOPBACK,
            "port": self._ports.get(name, self.port),
            "folder": self.folder,
            "cache": f"{LOOPBACK}:{self._ports['memcached']}",
        }


def missing() -> str:
    """What has to be installed first; empty: nothing."""
    programs = ["memcached", "swift-proxy-server", *(f"swift-{one}-server" for one in KEEPERS)]
    there = all(map(shutil.which, programs)) and SHARED.exists()
    return "" if there else f"apt-get install --no-install-recommends {PACKAGES}"


KEEPER: Final = """
[DEFAULT]
bind_ip = {host}
bind_port = {port}
user = root
workers = 1
swift_dir = {folder}
devices = {folder}/disks
mount_check = false
log_address = /nowhere

[pipeline:main]
pipeline = healthcheck {name}-server

[app:{name}-server]
use = egg:swift#{name}

[filter:healthcheck]
use = egg:swift#healthcheck
"""
PROXY: Final = """
[DEFAULT]
bind_ip = {host}
bind_port = {port}
user = root
workers = 1
swift_dir = {folder}
log_address = /nowhere

[pipeline:main]
pipeline = catch_errors healthcheck cache s3api tempauth
    slo dlo versioned_writes symlink proxy-server

[app:proxy-server]
use = egg:swift#proxy
account_autocreate = true
allow_account_management = true

[filter:catch_errors]
use = egg:swift#catch_errors

[filter:healthcheck]
use = egg:swift#healthcheck

[filter:cache]
use = egg:swift#memcache
memcache_servers = {cache}

[filter:s3api]
use = egg:swift#s3api
location = us-east-1
s3_acl = false
allow_object_versioning = true

[filter:tempauth]
use = egg:swift#tempauth
{users}

[filter:slo]
use = egg:swift#slo

[filter:dlo]
use = egg:swift#dlo

[filter:versioned_writes]
use = egg:swift#versioned_writes
allow_object_versioning = true

[filter:symlink]
use = egg:swift#symlink
"""
