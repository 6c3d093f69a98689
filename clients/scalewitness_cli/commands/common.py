"""What the keeper's commands share: which server, how they end, how they speak."""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import click

from scalewitness_cli import outbox
from scalewitness_cli.checks import BadWord
from scalewitness_cli.devicekey import DeviceKey, Fact
from scalewitness_cli.identity import Identity
from scalewitness_cli.remote import Api, Refusal, RetryLimit, Stopped, Unreachable
from scalewitness_cli.store import Store, data_folder, used_servers
from scalewitness_cli.whose_log import ORIGIN, origin_of

P = ParamSpec("P")
R = TypeVar("R")

SERVER = "SCALEWITNESS_SERVER"
FINE, NEEDS_YOU, USAGE, UNREACHABLE, INTERRUPTED = 0, 1, 2, 3, 130
ENDINGS = {
    FINE: "All is well.",
    NEEDS_YOU: "Something needs you: a refused item, a conflict, an alarm, a bad file.",
    USAGE: "Wrongly called, or a key is missing without which nothing can be judged.",
    UNREACHABLE: "The server was not reached, or accepts nothing for now. Everything is stored.",
    INTERRUPTED: "Interrupted by Ctrl-C or SIGTERM. What was stored is stored, as it says.",
}
"""How every command ends."""

AT_THE_DOOR = {"wrong_credentials", "second_factor_required", "second_factor_wrong"}
"""Refusals of who is not in yet; any other 401 is of a token."""


def server_option(command: Callable[P, R]) -> Callable[P, R]:
    return click.option(
        "--server", envvar=SERVER, help="Which server, where several are signed in at."
    )(command)


def json_option(command: Callable[P, R]) -> Callable[P, R]:
    return click.option("--json", "as_json", is_flag=True, help="JSON, for programs.")(command)


KEPT = "Everything you recorded is stored here."


def ending(unreached: str) -> Callable[[Callable[P, None]], Callable[P, None]]:
    """Turn what stops a command into words and an exit code; ``unreached`` says what is left
    here where the server was not reached."""

    def decorated(command: Callable[P, None]) -> Callable[P, None]:
        @wraps(command)
        def run(*args: P.args, **named: P.kwargs) -> None:
            try:
                command(*args, **named)
            except BadWord as fault:
                raise click.UsageError(str(fault)) from None
            except Unreachable as problem:
                _end(f"{problem}\n{unreached}", UNREACHABLE)
            except Refusal as refusal:
                _end(_refusal(refusal), NEEDS_YOU)
            except Stopped as problem:
                _end(str(problem), NEEDS_YOU)

        return run

    return decorated


ends_well = ending(KEPT)


@contextmanager
def opened(server: str | None) -> Iterator[Store]:
    """The store of the server named, or of the only one. None is made by this: an address
    mistyped leaves nothing behind."""
    known = used_servers(data_folder())
    listed = "".join(f"\n  {one}" for one in known)
    if not known:
        raise click.UsageError("Nobody is signed in: scalewitness sign-in URL")
    if server is not None and server.rstrip("/") not in known:
        raise click.UsageError(f"Nobody is signed in at {line(server)}; known here:{listed}")
    if server is None and len(known) != 1:
        raise click.UsageError(
            f"Several servers are known here; say --server, or forget one "
            f"(scalewitness servers):{listed}"
        )
    meta = click.get_current_context().meta
    with Store(data_folder(), server or known[0]) as store:
        meta[ORIGIN] = lambda: origin_of(store)
        try:
            yield store
        finally:
            found = origin_of(store)
            meta[ORIGIN] = lambda: found


def api_of(store: Store, identity: Identity) -> Api:
    """The server, for somebody who waits for its answer."""
    return Api(store.url, identity.token, RetryLimit(seconds=10, asked=10))


def store_here(store: Store, key: DeviceKey, fact: Fact, now: str, *, as_json: bool) -> None:
    """Sign a fact and keep it for the next sync, and say so."""
    (stored,) = outbox.add(store, key, [fact], now)
    print_result(
        {"stored": [stored.id]}, as_json, lambda: f"Stored here: {stored.id}, not sent yet."
    )


_HAS_POSITION = re.compile(r"\bposition \d|\bin the log at \d|^ +\d+(?::|  )", re.MULTILINE)
_POSITIONS = ("position", "proved_as_of")


def print_result(found: Any, as_json: bool, text: Callable[[], str]) -> None:
    """Print for a program or for a person; whose log its positions are of, if it says any."""
    if as_json:
        click.echo(json.dumps(_with_origin(found), ensure_ascii=False))
        return
    words = text()
    origin = _origin() if _HAS_POSITION.search(words) else None
    click.echo(f"{words}\nPositions are of the log {line(origin)}." if origin else words)


def _with_origin(found: Any) -> Any:
    if isinstance(found, list):
        return [_with_origin(one) for one in found]
    if not isinstance(found, dict) or not _has_position(found) or (origin := _origin()) is None:
        return found
    return found | {ORIGIN: origin}


def _has_position(found: Any) -> bool:
    if isinstance(found, dict):
        here = any(found.get(name) is not None for name in _POSITIONS)
        return here or any(map(_has_position, found.values()))
    return isinstance(found, list) and any(map(_has_position, found))


def _origin() -> str | None:
    """Of the store that is or was open; None where none was, or nothing was read yet."""
    asked: Callable[[], str | None] = click.get_current_context().meta.get(ORIGIN, lambda: None)
    return asked()


def line(text: object) -> str:
    """What others wrote, safe for a terminal."""
    return "".join(one if one.isprintable() else "�" for one in str(text))


def spaced(word: object) -> str:
    return line(word).replace("_", " ")


def _end(text: str, status: int) -> None:
    click.echo("\n".join(map(line, text.split("\n"))), err=True)
    click.get_current_context().exit(status)


def _refusal(refusal: Refusal) -> str:
    detail = refusal.problem.get("detail") or str(refusal)
    if page := refusal.problem.get("page"):
        detail = f"{detail}\n  {page}"
    if refusal.status == 401 and refusal.code not in AT_THE_DOOR:
        return f"The server does not know this device any more: sign in again. ({detail})"
    return str(detail)
