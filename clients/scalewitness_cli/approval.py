"""How a machine gets its token: by the password, and a code where one is asked for, or by a page
on which its keeper confirms it (RFC 8628), which is the way for passkeys."""

import time
from collections.abc import Callable, Sequence

from scalewitness_cli.remote import Api, Json, Refusal, Stopped, Unreachable

GRANT = "urn:ietf:params:oauth:grant-type:device_code"
SLOWER = 5
"""Seconds more between questions after each ``slow_down`` (RFC 8628, 3.5)."""
ATTEMPTS = 3
"""Codes that may be typed before it is given up; the server counts them too (our judgement)."""

AskCode = Callable[[Sequence[str]], str]
"""Asks the person for a code of one of these kinds; an empty one: rather by a page."""
ShowPage = Callable[[str, str], None]
"""Shows the page's address and the code to type there."""


def by_password(anyone: Api, email: str, password: str, name: str, ask: AskCode) -> Json | None:
    """The device as the server made it; None where the person would rather use a page, or can
    use nothing else.

    Raises:
        Refusal: wrong address or password, or wrong codes only.
    """
    credentials = {"email": email, "password": password, "name": name}
    try:
        return anyone.post("devices", credentials)
    except Refusal as refusal:
        if refusal.code != "second_factor_required":
            raise
        kinds = [str(kind) for kind in refusal.problem.get("kinds", [])]
    return (
        _with_code(anyone, credentials, kinds, ask)
        if {"totp", "recovery_code"} & {*kinds}
        else None
    )


def _with_code(
    anyone: Api, credentials: dict[str, str], kinds: Sequence[str], ask: AskCode
) -> Json | None:
    for left in reversed(range(ATTEMPTS)):
        code = ask(kinds).strip()
        if not code:
            return None
        try:
            return anyone.post("devices", {**credentials, "code": code})
        except Refusal as refusal:
            if refusal.code != "second_factor_wrong" or not left:
                raise
    raise AssertionError  # the last try raises


def by_page(
    anyone: Api, name: str, show: ShowPage, sleep: Callable[[float], None] = time.sleep
) -> Json:
    """The device as the server made it once its keeper has confirmed it.

    Raises:
        Stopped: it was refused there, or the time is over.
    """
    begun = anyone.post("devices/authorization", {"name": name})
    show(str(begun["verification_uri"]), str(begun["user_code"]))
    wait, left = float(begun["interval"]), float(begun["expires_in"])
    while left > 0:
        sleep(wait)
        left -= wait
        try:
            asked = {"grant_type": GRANT, "device_code": begun["device_code"]}
            return anyone.post("devices/token", asked)
        except Unreachable:
            wait *= 2  # RFC 8628, 3.5: after no answer, ask more rarely
        except Refusal as refusal:
            if refusal.code not in {"authorization_pending", "slow_down"}:
                raise Stopped(str(refusal.problem.get("detail", refusal))) from None
            wait += SLOWER if refusal.code == "slow_down" else 0
    raise Stopped("Nobody confirmed it in time. Begin again.")
