"""Every kind of page of a running demo, for every eye.

    ./deploy/demo --fresh                       (in another terminal)
    python deploy/bench/eyes.py --maildir .run/demo/mail [--shots DIR] [--widths 360 768 1440]

Opens each kind of page that links lead to, as a keeper and as a buyer, in light and dark, at each
width. Fails where axe-core finds anything, of whatever grade, or where anything is wider than the
screen. ``--shots`` keeps a picture of each.
"""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page, sync_playwright
from walking import BROWSER, all_pages, kind, offer_paths, sign_in

HEIGHTS = {360: 740, 768: 1024, 1280: 800, 1440: 900}
ALL = {"rules": {"target-size": {"enabled": True}}}
"""What axe-core looks for unasked, and how large is what a thumb has to meet."""
COLOURS = {"runOnly": {"type": "tag", "values": ["cat.color"]}}
"""All that the colour scheme can make a difference to."""


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--url", default="http://127.0.0.1:8000")
    asked.add_argument("--maildir", type=Path, required=True)
    asked.add_argument("--browser", default="/usr/bin/chromium")
    asked.add_argument("--shots", type=Path)
    asked.add_argument("--widths", type=int, nargs="+", default=[360, 1280])
    given = asked.parse_args()
    if given.shots:
        given.shots.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=given.browser, args=BROWSER)
        buyer, keeper = browser.new_context().new_page(), browser.new_context().new_page()
        sign_in(keeper, given.url)
        walks = [
            (buyer, ["/", "/about", "/log", *offer_paths(given.maildir)]),
            (keeper, ["/", "/animals", "/visits", "/sales", "/disputes", "/pairings", "/account"]),
        ]
        faults = [
            fault
            for page, starts in walks
            for path in all_pages(page, given.url, starts)
            for fault in _looked_at(page, path, given)
        ]
        browser.close()
    for one in faults:
        print(f"MISS  {one}")
    print(f"{len(faults)} faults")
    return 1 if faults else 0


def _looked_at(page: Page, path: str, given: argparse.Namespace) -> Iterator[str]:
    print(path, flush=True)
    for width in given.widths:
        page.set_viewport_size({"width": width, "height": HEIGHTS.get(width, 900)})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            where = f"{kind(path)} at {width}, {scheme}"
            if given.shots:
                name = kind(path).strip("/").replace("/", "_").replace("*", "x") or "home"
                page.screenshot(path=given.shots / f"{name}-{width}-{scheme}.png", full_page=True)
            options = ALL if scheme == "light" else COLOURS
            for one in Axe().run(page, options=options).response["violations"]:
                yield f"{where}: {one['id']} ({one['impact']}): {one['nodes'][0]['html'][:150]}"
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > width:
                yield f"{where}: {wide} px wide"


if __name__ == "__main__":
    sys.exit(main())
