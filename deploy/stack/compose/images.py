"""The images that compose.yaml asks for, made where no registry is reached, and Podman's settings.

PostgreSQL, queue and proxy are stand-ins from Debian's packages; the application's image is made by
``./deploy/try_image`` from ``deploy/Containerfile``.
"""

import os
import subprocess
from collections.abc import Mapping
from pathlib import Path

from stack.local import ROOT

APPLICATION = "localhost/scalewitness-trial"
STAND_INS = {
    "POSTGRES_IMAGE": ("postgres", f"{APPLICATION}-postgres"),
    "QUEUE_IMAGE": ("queue", f"{APPLICATION}-queue"),
    "PROXY_IMAGE": ("proxy", f"{APPLICATION}-proxy"),
}
"""By compose.yaml's variable: what it is called in the Containerfile here, and once made."""
IN_THE_NETWORKS_WITH_NAMES = '[network]\nnetwork_backend = "netavark"\n'
WITHOUT_SYSTEMD = (
    '[engine]\nruntime = "runc"\n'
    '[containers]\ndefault_ulimits = ["nofile=1024:1024", "nproc=4096:4096"]\n'
)
"""For a machine whose control groups the usual runtime refuses."""


def make_images() -> None:
    subprocess.run([ROOT / "deploy" / "try_image"], check=True, stdout=subprocess.DEVNULL)
    here = Path(__file__).parent
    for target, image in STAND_INS.values():
        build = ["buildah", "bud", "--quiet", "--format", "docker", "--isolation", "chroot"]
        build += ["--network", "host", "--target", target, "--tag", image, str(here)]
        subprocess.run(build, check=True, capture_output=True)


def make_next() -> None:
    """The application's image anew, as of a next version that says nothing else."""
    new = ["buildah", "from", APPLICATION]
    made = subprocess.run(new, check=True, capture_output=True, text=True).stdout.strip()
    label = ["buildah", "config", "--label", "version=next", made]
    commit = ["buildah", "commit", "--quiet", "--format", "docker", "--rm", made, APPLICATION]
    for argv in (label, commit):
        subprocess.run(argv, check=True, capture_output=True)


def environment(folder: Path) -> Mapping[str, str]:
    """What compose.yaml and Podman get beside this process's own environment: which images,
    and what this machine needs beside the usual."""
    images = {name: image for name, (_, image) in STAND_INS.items()}
    settings = folder / "containers.conf"
    settings.write_text(IN_THE_NETWORKS_WITH_NAMES)
    added = images | {"SCALEWITNESS_IMAGE": APPLICATION, "CONTAINERS_CONF": str(settings)}
    if not _runs(added):
        settings.write_text(IN_THE_NETWORKS_WITH_NAMES + WITHOUT_SYSTEMD)
        print("(the usual runtime does not work here: with runc, and limits of its own)")
    return added


def _runs(added: Mapping[str, str]) -> bool:
    argv = ["podman", "run", "--rm", "--network", "none", APPLICATION, "true"]
    done = subprocess.run(argv, env=os.environ | added, capture_output=True, check=False)
    return done.returncode == 0
