"""Lighthouse on the main pages of a running demo, as a phone.

    ./deploy/demo --fresh                       (in another terminal)
    python deploy/bench/lighthouse.py --maildir .run/demo/mail [--runs 5]

Needs npm; takes `@lhci/cli` at the version named here. Prints the median of each page's runs for
performance, accessibility and best practices, and the bytes it took. Only on an otherwise idle
machine do the figures for performance say anything: the load is printed beside them. Fails where
performance is below 97 or one of the others below 100.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from statistics import median
from typing import Any, Final

from playwright.sync_api import sync_playwright
from walking import BROWSER, offer_paths, sign_in

CLI: Final = "@lhci/cli@0.14.0"
WANTED: Final = {"performance": 97, "accessibility": 100, "best-practices": 100}
FLAGS: Final = " ".join([*BROWSER, "--headless=new"])


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--url", default="http://127.0.0.1:8000")
    asked.add_argument("--maildir", type=Path, required=True)
    asked.add_argument("--browser", default="/usr/bin/chromium")
    asked.add_argument("--runs", type=int, default=5)
    given = asked.parse_args()
    cookie, pages = _found(given)
    print(f"load {os.getloadavg()[0]:.1f}")
    missed = 0
    for name, path in pages.items():
        signed_in = name not in {"sign-in", "offer"}
        scores, size = _measured(given, path, {"Cookie": cookie} if signed_in else {})
        missed += any(scores[one] < WANTED[one] for one in WANTED)
        line = ", ".join(f"{one} {score:.0f}" for one, score in scores.items())
        print(f"{name:9} {line}; {size / 1000:.0f} kB", flush=True)
    return 1 if missed else 0


def _found(given: argparse.Namespace) -> tuple[str, Mapping[str, str]]:
    """A keeper's cookie, and where the pages are."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=given.browser, args=BROWSER)
        page = browser.new_page()
        sign_in(page, given.url)

        def first(listed: str, of: str) -> str:
            page.goto(f"{given.url}{listed}")
            return page.locator(f'main a[href^="{of}"]').first.get_attribute("href") or listed

        pages = {
            "home": "/",
            "animals": "/animals",
            "animal": first("/animals", "/animals/0"),
            "dispute": first("/disputes", "/disputes/0"),
            "sign-in": "/accounts/login/",
            "offer": next(iter(offer_paths(given.maildir)), "/"),
        }
        sent = "; ".join(f"{one['name']}={one['value']}" for one in page.context.cookies())
        browser.close()
    return sent, pages


def _measured(
    given: argparse.Namespace, path: str, headers: Mapping[str, str]
) -> tuple[Mapping[str, float], float]:
    """Median score of each category, and bytes over the wire."""
    with tempfile.TemporaryDirectory(prefix="scalewitness-lighthouse-") as folder:
        command = ["npx", "--yes", CLI, "collect", f"--url={given.url}{path}"]
        command += [f"--numberOfRuns={given.runs}", f"--settings.chromeFlags={FLAGS}"]
        command += [f"--settings.onlyCategories={','.join(WANTED)}"]
        command += [f"--settings.extraHeaders={json.dumps(headers)}"] if headers else []
        environment = os.environ | {"CHROME_PATH": given.browser}
        ran = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True)
        if ran.returncode:
            raise SystemExit(f"{path}: {ran.stderr[-2000:]}{ran.stdout[-500:]}")
        runs = [
            json.loads(one.read_text()) for one in Path(folder).glob(".lighthouseci/lhr-*.json")
        ]
    scores = {name: 100 * median(_score(one, name) for one in runs) for name in WANTED}
    return scores, median(_size(one) for one in runs)


def _score(run: Mapping[str, Any], category: str) -> float:
    return float(run["categories"][category]["score"] or 0)


def _size(run: Mapping[str, Any]) -> float:
    return float(run["audits"]["total-byte-weight"]["numericValue"])


if __name__ == "__main__":
    sys.exit(main())
