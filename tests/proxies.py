"""The samples for proxies, each run as it is written before a service of ours, but for ports and
folders."""

import http.client
import shutil
import socket
import ssl
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest

from stack.authority import make_authority
from stack.local import ROOT
from stack.ready import LOOPBACK, free_port, tcp
from stack.supervisor import Service

HOST = "localhost"
SAMPLES = ROOT / "deploy" / "proxy"
SERVER = f"    server {LOOPBACK}:8000 max_fails=1 fail_timeout=1s;\n"


@dataclass(frozen=True)
class Proxy:
    """``address``: where it is asked from, too."""

    service: Service
    port: int
    folder: Path
    trusts: ssl.SSLContext
    address: str = LOOPBACK

    def ask(self, path: str, headers: Mapping[str, str], method: str = "GET") -> tuple[int, str]:
        """Status, and what it says of when to come again."""
        answer = self.answer(path, headers, method)
        return answer.status, answer.getheader("Retry-After", "")

    def answer(
        self, path: str, headers: Mapping[str, str], method: str = "GET"
    ) -> http.client.HTTPResponse:
        """Its status and headers."""
        connection = http.client.HTTPSConnection(HOST, self.port, timeout=20, context=self.trusts)
        try:
            line = socket.create_connection((self.address, self.port), timeout=20)
            connection.sock = self.trusts.wrap_socket(line, server_hostname=HOST)
            connection.request(method, path, headers=dict(headers))
            return connection.getresponse()
        finally:
            connection.close()


def program(name: str, package: str) -> str:
    found = shutil.which(name, path="/usr/sbin:/usr/local/sbin:/usr/local/bin:/usr/bin")
    if found is None:
        pytest.skip(f"there is no {name} here to try the sample with: apt-get install {package}")
    return found


def changed(text: str, changes: Mapping[str, str]) -> str:
    for told, here in changes.items():
        assert told in text, told
        text = text.replace(told, here)
    return text


def nginx(folder: Path, *behind: int) -> Proxy:
    binary, port = program("nginx", "nginx-light"), free_port()
    authority, _ = make_authority(folder, HOST)
    sample = changed(
        (SAMPLES / "nginx.conf").read_text(),
        {
            SERVER: "".join(SERVER.replace("8000", str(one)) for one in behind),
            "listen 80;": f"listen {LOOPBACK}:{free_port()};",
            "listen [::]:80;": f"listen [::1]:{free_port()};",
            "listen 443 ssl http2;": f"listen {LOOPBACK}:{port} ssl http2;",
            "listen [::]:443 ssl http2;": f"listen [::1]:{port} ssl http2;",
            "/etc/ssl/record.example.pem": f"{folder}/far-end.pem",
            "/etc/ssl/private/record.example.key": f"{folder}/far-end.pem",
            "/var/log/nginx/": f"{folder}/",
            "server_name record.example;": f"server_name {HOST};",
        },
    )
    config = folder / "nginx.conf"
    config.write_text(
        f"daemon off; master_process off; pid {folder}/nginx.pid; error_log {folder}/main.log;"
        f"events {{}} http {{ access_log {folder}/default.log;"
        + "".join(
            f"{kind}_temp_path {folder}/{kind};"
            for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        + f"\n{sample}\n}}\n"
    )
    argv = [binary, "-c", str(config), "-e", str(folder / "main.log")]
    subprocess.run([*argv, "-t"], check=True)
    trusts = ssl.create_default_context(cafile=authority)
    return Proxy(Service("nginx", argv, ready=tcp(port)), port, folder, trusts)


def caddy(folder: Path, *behind: int) -> Proxy:
    """Asked by IPv6."""
    binary, port = program("caddy", "caddy"), free_port()
    authority, _ = make_authority(folder, HOST)
    sample = changed(
        (SAMPLES / "Caddyfile").read_text(),
        {
            "{\n\t# Not on": f"{{\n\thttp_port {free_port()}\n\t# Not on",
            "/var/log/caddy": f"{folder}",
        },
    )
    config = folder / "Caddyfile"
    config.write_text(sample)
    told = {
        "NAME": f"{HOST}:{port}",
        "TLS": f"{folder}/far-end.pem {folder}/far-end.pem",
        "ADMIN": "off",
        "UPSTREAM": " ".join(f"{LOOPBACK}:{one}" for one in behind),
        "XDG_DATA_HOME": str(folder),
        "XDG_CONFIG_HOME": str(folder),
        "HOME": str(folder),
    }
    rest = ["--config", str(config), "--adapter", "caddyfile"]
    subprocess.run([binary, "validate", *rest], env=told, check=True)
    service = Service("caddy", [binary, "run", *rest], ready=tcp(port), env=told)
    return Proxy(service, port, folder, ssl.create_default_context(cafile=authority), "::1")
