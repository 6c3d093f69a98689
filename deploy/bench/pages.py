"""What the main pages ask of the machine in a small and in a large collection.

    python deploy/bench/pages.py [--small 40] [--large 5000] [--calls 10]

Two keepers with so many animals, each with so many calls, in one record. Of each page: how many
queries, how much of a processor's time in this process (the median of five, the two collections
in turn), and what a browser with an empty cache takes over the wire. Fails where a page asks more
than 25 queries, where the large collection takes more than three times the time of the small one,
or where a first visit takes more than 260 kB, 80 kB of it script on ordinary pages.
"""

import argparse
import gzip
import re
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, NamedTuple
from urllib.parse import urljoin

from running import service, verdict

if TYPE_CHECKING:
    from django.test import Client
    from sync_parts import Herd

QUERIES, TIMES = 25, 3.0
FIRST_VISIT, SCRIPT = 260_000, 80_000
"""Bytes on the wire (our judgement)."""
REPEATED = 5
ANSWERS = (".css", ".js", ".svg")
"""Files that are sent compressed."""


class Seen(NamedTuple):
    """Of one page: ``queries``, ``seconds`` of a processor and the ``bytes`` of its answer."""

    queries: int
    seconds: float
    html: str


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--small", type=int, default=40)
    asked.add_argument("--large", type=int, default=5000)
    asked.add_argument("--calls", type=int, default=10, help="of each animal")
    given = asked.parse_args()
    with service(worker=False):
        return verdict(list(_measured(given)), "every page is as quick and light as wanted")


def _measured(given: argparse.Namespace) -> Iterator[str]:
    import sync_parts  # noqa: PLC0415  needs Django to be set up

    herds = [sync_parts.Herd(f"Aurelia {size}", size) for size in (given.small, given.large)]
    for herd in herds:
        herd.call_all(given.calls * len(herd.animals))
    pages = [dict(_pages(herd)) for herd in herds]
    for name in pages[0]:
        small, large = _in_turn(pages[0][name], pages[1][name])
        times = large.seconds / small.seconds
        script, total = _on_the_wire(large.html)
        print(
            f"{name:12} {small.queries:3} and {large.queries:3} queries, "
            f"{1000 * small.seconds:5.1f} and {1000 * large.seconds:5.1f} ms ({times:.2f} times), "
            f"{total / 1000:.0f} kB at first, {script / 1000:.0f} of it script"
        )
        if max(small.queries, large.queries) > QUERIES:
            yield f"{name}: {max(small.queries, large.queries)} queries"
        if times > TIMES:
            yield f"{name}: {times:.1f} times the time of a small collection"
        if total > FIRST_VISIT or script > SCRIPT:
            yield f"{name}: {total} bytes at a first visit, {script} of them script"


def _pages(herd: "Herd") -> Iterator[tuple[str, Callable[[], Seen]]]:
    from django.test import Client  # noqa: PLC0415

    client = Client(headers={"host": "localhost"})
    client.force_login(herd.keeper)
    collection = herd.collection
    addresses = {
        "today": "/",
        "animals": "/animals",
        "one species": "/animals?species=python_regius",
        "standing": "/animals?standing=verified",
        "found": "/animals?text=T-17",
        "animal": f"/animals/{herd.animals[0]}",
        "what-if": f"/animals/{herd.animals[0]}/what-if",
        "collection": f"/collections/{collection}",
        "clutches": f"/collections/{collection}/clutches",
        "visit": f"/collections/{collection}/visits/new",
        "sale": f"/collections/{collection}/sales/new",
        "pairing": f"/animals/{herd.animals[0]}/pairings/new",
        "visits": "/visits",
        "sales": "/sales",
        "disputes": "/disputes",
        "log a call": f"/animals/{herd.animals[0]}/calls/new",
    }
    for name, address in addresses.items():
        yield name, lambda address=address: _asked(client, address)  # type: ignore[misc]


def _asked(client: "Client", address: str) -> Seen:
    from django.db import connection  # noqa: PLC0415
    from django.test.utils import CaptureQueriesContext  # noqa: PLC0415

    began = time.thread_time()
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(address, secure=True)
    if answer.status_code != 200:
        raise RuntimeError(f"{address} answers {answer.status_code}")
    html = b"".join(answer) if answer.streaming else answer.content
    return Seen(len(asked), time.thread_time() - began, html.decode())


def _in_turn(*pages: Callable[[], Seen]) -> list[Seen]:
    """Each asked as often, one after the other, the first time left out."""
    found = [[page() for page in pages] for _ in range(REPEATED + 1)][1:]
    return [
        one[0]._replace(seconds=median([again.seconds for again in one]))
        for one in zip(*found, strict=True)
    ]


def _on_the_wire(html: str) -> tuple[int, int]:
    """Bytes of script, and of all that the page has loaded before anybody does anything."""
    linked = re.findall(r'(?:src|href)="(/static/[^"]+)"', html)
    sizes = {path: _sent(path) for path in dict.fromkeys(linked)}
    for path in [one for one in sizes if one.endswith(".css")]:
        for url in re.findall(r'url\("?([^")]+)"?\)', _file(path).decode()):
            if not url.startswith("data:"):
                sizes.setdefault(urljoin(path, url), _sent(urljoin(path, url)))
    for path in [one for one in sizes if one.endswith(".js")]:
        for module in re.findall(r'from "(\.[^"]+)"', _file(path).decode()):
            sizes.setdefault(urljoin(path, module), _sent(urljoin(path, module)))
    script = sum(size for path, size in sizes.items() if path.endswith(".js"))
    return script, len(gzip.compress(html.encode())) + sum(sizes.values())


def _sent(path: str) -> int:
    data = _file(path)
    return len(gzip.compress(data)) if path.endswith(ANSWERS) else len(data)


def _file(path: str) -> bytes:
    from django.contrib.staticfiles import finders  # noqa: PLC0415

    plain = re.sub(r"\.[0-9a-f]{12}(?=\.\w+$)", "", path.removeprefix("/static/"))
    found = finders.find(plain)
    if found is None:
        raise RuntimeError(f"no file for {path}")
    return Path(str(found)).read_bytes()


if __name__ == "__main__":
    sys.exit(main())
