"""What photos in a bucket cost: moving them, reading them, and checking the bucket.

    python deploy/bench/photos.py [--photos N] [--bytes N]

On a PostgreSQL of its own, durable as in production, and OpenStack Swift with one disk on the same
machine: N photos are attached through the intake, their files put in as rows, and then moved, read,
checked and moved back. Fails where a command takes more than 250 MB, however many photos there are,
or where anything differs at the end.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import boto3
import memory
from log import database

from stack.local import ROOT
from stack.supervisor import Supervisor
from stack.swift import Swift

MOST_MB = 250


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--photos", type=int, default=10_000)
    asked.add_argument("--bytes", type=int, default=20_000, help="of each file")
    given = asked.parse_args()
    with bucket(), database():
        from photos_read import fill, read  # noqa: PLC0415

        fill(given.photos, given.bytes)
        print(f"{given.photos} photos of {given.bytes} bytes", flush=True)
        peaks = [command(given.photos, "objects", "move_photos", "--to", "objects")]
        print(f"reading one: {read()}", flush=True)
        peaks.append(command(given.photos, "objects", "fsck", "--only", "objects"))
        peaks.append(command(given.photos, "objects", "fsck", "--only", "log"))
        peaks.append(command(given.photos, "database", "move_photos", "--to", "database"))
        print(f"reading one from the database: {read()}")
    within = max(peaks) <= MOST_MB
    print(f"{'ok  ' if within else 'OVER'}  {max(peaks):.0f} MB at most")
    return 0 if within else 1


@contextmanager
def bucket() -> Iterator[None]:
    """A bucket of Swift, named in the environment."""
    with (
        tempfile.TemporaryDirectory(prefix="scalewitness-bench-") as folder,
        Supervisor(Path(folder), say=lambda name, text: None) as supervisor,
    ):
        swift = Swift(Path(folder) / "swift")
        for service in swift.services():
            supervisor.start(service)
        os.environ |= {
            "AWS_STORAGE_BUCKET_NAME": "photos",
            "AWS_S3_ENDPOINT_URL": swift.address,
            "AWS_ACCESS_KEY_ID": swift.key,
            "AWS_SECRET_ACCESS_KEY": swift.secret,
            "AWS_DEFAULT_REGION": "us-east-1",
        }
        boto3.client("s3", endpoint_url=swift.address).create_bucket(Bucket="photos")
        yield


def command(photos: int, storage: str, *words: str) -> float:
    """The most memory that it took, in megabytes; says how long for each photo."""
    began, peak = time.perf_counter(), 0.0
    run = [sys.executable, "-m", "scalewitness", *words]
    env = os.environ | {"PHOTO_STORAGE": storage}
    with subprocess.Popen(run, cwd=ROOT, env=env, stdout=subprocess.DEVNULL) as process:
        while process.poll() is None:
            peak = max(peak, memory.of_all(process.pid))
            time.sleep(0.2)
    if process.returncode:
        raise RuntimeError(f"{words} ended with {process.returncode}")
    seconds = time.perf_counter() - began
    each = f"{1000 * seconds / photos:.2f} ms a photo"
    print(f"{' '.join(words)}: {seconds:.1f} s, {each}, {peak:.0f} MB", flush=True)
    return peak


if __name__ == "__main__":
    sys.exit(main())
