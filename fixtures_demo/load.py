"""Load the scenario: ``python -m fixtures_demo.load --url URL --maildir DIR``.

Safe to run again.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path

from fixtures_demo.accounts import Device, have_verified, operate, sign_in, sign_up
from fixtures_demo.fixed import Calendar, fixed_id
from fixtures_demo.letters import Letters
from fixtures_demo.play import Player
from fixtures_demo.scenario import Keeper, Scenario
from scalewitness.domain.moments import rfc3339
from scalewitness_cli.remote import Api, Refusal, Stopped

DEVICE = "demo loader, first run "


def main(arguments: Sequence[str] | None = None) -> int:
    """Load, then print the sign-ins; returns 0, or 1 with the reason on standard error."""
    parser = argparse.ArgumentParser(prog="python -m fixtures_demo.load", description=__doc__)
    parser.add_argument("--url", required=True, help="where the server answers")
    parser.add_argument(
        "--maildir", type=Path, required=True, help="where the mail sink stores letters"
    )
    given = parser.parse_args(arguments)
    began = time.monotonic()
    scenario = Scenario()
    try:
        _load(scenario, given.url, Letters(given.maildir), datetime.fromtimestamp(time.time(), UTC))
    except (Stopped, Refusal) as reason:
        print(f"Not loaded: {reason}", file=sys.stderr)
        return 1
    print(f"The scenario is in the record ({time.monotonic() - began:.0f} s).")
    _print_sign_ins(scenario)
    return 0


def _load(scenario: Scenario, url: str, letters: Letters, now: datetime) -> None:
    devices = {scenario.first_keeper.key: _signed_in(scenario.first_keeper, url, now)}
    first = devices[scenario.first_keeper.key]
    first_run = _first_run(first.api)
    if first.api.known(f"calls/{fixed_id('call_made', scenario.last_call)}") is not None:
        print("All of it is there already.", flush=True)
    else:
        for key, keeper in scenario.keepers.items():
            if key not in devices:
                devices[key] = _signed_in(keeper, url, now)
        apis = {one.email: devices[key].api for key, one in scenario.keepers.items()}
        vouched = have_verified(apis)
        print(f"  {len(devices)} keepers signed in, {vouched} vouched for", flush=True)
        if vouched:
            operate("name_founders", *(one.email for one in scenario.founders))
        signing = [key for key, keeper in scenario.keepers.items() if keeper.signs]
        devices |= {key: _with_key(devices[key], now) for key in signing}
        _play(scenario, Calendar(first_run), devices, letters, now)
    for device in devices.values():
        device.api.delete(f"devices/{device.id}")


def _play(
    scenario: Scenario,
    calendar: Calendar,
    devices: Mapping[str, Device],
    letters: Letters,
    now: datetime,
) -> None:
    apis = {key: device.api for key, device in devices.items()}
    keepers = {key: str(api.get("keepers/me")["id"]) for key, api in apis.items()}
    Player(scenario, calendar, devices, keepers, letters, now).play()
    _report(apis)


def _signed_in(keeper: Keeper, url: str, now: datetime) -> Device:
    sign_up(url, keeper.name, keeper.email, keeper.password)
    return sign_in(url, keeper.email, keeper.password, f"{DEVICE}{now.date()}")


def _with_key(device: Device, now: datetime) -> Device:
    return device.with_key(fixed_id("device_key_enrolled", device.id), rfc3339(now))


def _first_run(api: Api) -> date:
    """The day of the first run, from the names of the first keeper's devices; the list also
    holds those long signed out."""
    names = [one["name"] for one in api.get("devices")["items"]]
    return min(date.fromisoformat(n.removeprefix(DEVICE)) for n in names if n.startswith(DEVICE))


def _report(apis: Mapping[str, Api]) -> None:
    """How the animals stand now, from what each keeper is shown."""
    labels = {
        animal["id"]: (animal["standing"] or {}).get("label", "unsexed")
        for api in apis.values()
        for animal in api.all_animals()
        if animal["sight"] == "all"
    }
    counted = Counter(labels.values()).most_common()
    print(f"  {len(labels)} animals: {', '.join(f'{n} {label}' for label, n in counted)}")


def _print_sign_ins(scenario: Scenario) -> None:
    print("Sign in as:")
    for keeper in scenario.keepers.values():
        print(f"  {keeper.email:28} {keeper.password:14} {keeper.name}")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
