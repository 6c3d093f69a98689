"""``scalewitness sign-in``: this machine becomes a device of a keeper."""

import os
import platform
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from urllib.parse import urlsplit

import click

from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli import approval, outbox, signin
from scalewitness_cli.checks import BadWord
from scalewitness_cli.clock import in_words
from scalewitness_cli.commands.common import (
    api_of,
    ending,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.trusted import read_key
from scalewitness_cli.identity import Identity, need_identity
from scalewitness_cli.readings import keep_comparison
from scalewitness_cli.remote import Api, Json, RetryLimit, Stopped, Unreachable
from scalewitness_cli.store import Store, data_folder
from scalewitness_cli.trust import keys_file

WORDS = {"totp": "Code of your authenticator app", "recovery_code": "recovery code"}
PASSWORD = "SCALEWITNESS_PASSWORD"  # noqa: S105  a variable's name


@click.command("sign-in")
@click.argument("url")
@click.option("--email", help="The keeper's address. Else it is asked for.")
@click.option("--device", help="What the device is called. Else this machine's name.")
@click.option("--code", help="A code of the authenticator app, or a recovery code. Else it is "
    "asked for where one is needed.")  # fmt: skip
@click.option("--page", is_flag=True, help="No password here: confirm this machine on a page of "
    "the site, where you are signed in. The way for passkeys.")  # fmt: skip
@click.option("--log-key", callback=read_key, metavar="NAME+ID+BASE64",
    help="The log's key, from somebody you trust; the server must show it too.")  # fmt: skip
@click.option("--no-log-key", is_flag=True, help="Trust no key for now: nothing is checked.")
@json_option
@ending("Nobody was signed in, and nothing here was changed.")
def sign_in(
    url: str, email: str | None, device: str | None, code: str | None, page: bool,
    log_key: VerifierKey | None, no_log_key: bool, as_json: bool,
) -> None:  # fmt: skip
    """Sign in at URL: this machine becomes a device with a key of its own.

    The password is asked for, or read from $SCALEWITNESS_PASSWORD; it is not kept. Where a
    second factor is set up, a code of it is asked for too. Then the log's public key is shown,
    to be compared with what somebody you trust tells you.
    """
    address = _address(url)
    retrying = RetryLimit(seconds=10, asked=10)
    name = (device or platform.node() or "computer")[:60]
    with Api(address, retrying=retrying) as anyone, _to_be_used(address) as store:
        made = None if page else _by_password(anyone, email, name, code)
        made = made or approval.by_page(anyone, name, partial(_show_page, name))
        identity = signin.become(store, anyone, made, name)
        with Api(address, identity.token, retrying) as api, _signed_in_all_the_same():
            identity = signin.enrol(store, identity, api)
            if off := in_words(keep_comparison(store, api)):
                click.secho(f"  ! {off}", err=True, bold=True)
            if not no_log_key:
                identity = _trusted(store, identity, signin.log_key(api), log_key)
    print_result(_shown(address, identity), as_json, lambda: _in_words(address, identity))


def _address(text: str) -> str:
    """Of a server, whole.

    Raises:
        BadWord: it is none.
    """
    found = urlsplit(text)
    if found.scheme not in {"http", "https"} or not found.netloc or found.query:
        raise BadWord(f"“{text}”: say the whole address, as in https://record.example")
    return text.rstrip("/")


@contextmanager
def _signed_in_all_the_same() -> Iterator[None]:
    """What is left to do where the server goes away once this is a device of its own."""
    try:
        yield
    except Unreachable as problem:
        raise Stopped(
            f"{problem}\nSigned in all the same: scalewitness sync does the rest. No key of the "
            "log is trusted yet: scalewitness trust-log KEY."
        ) from None


@contextmanager
def _to_be_used(url: str) -> Iterator[Store]:
    """The store of a server; one where signing in came to nothing is taken away again."""
    with Store(data_folder(), url) as store:
        try:
            yield store
        finally:
            if store.unused:
                store.discard()


@click.command("sign-out")
@server_option
@json_option
@ends_well
def sign_out(server: str | None, as_json: bool) -> None:
    """End this machine's session at the server, and delete what it was shown.

    Its token and its key end too. What was noted here and is not sent stays here, and is sent
    after its keeper signs in again.
    """
    with opened(server) as store:
        identity = need_identity(store)
        left = sum(outbox.counts(store).get(state, 0) for state in outbox.OPEN)
        with api_of(store, identity) as api:
            signin.sign_out(store, identity, api)
        name = line(identity.device_name)
        unsent = f" {left} not settled: kept here." if left else ""
        print_result(
            {"server": store.url, "device": identity.device, "unsettled": left},
            as_json,
            lambda: f"“{name}” is signed out at {line(store.url)}.{unsent}",
        )


@click.command("trust-log")
@click.argument("key", callback=read_key, metavar="NAME+ID+BASE64")
@server_option
@json_option
@ends_well
def trust_log(key: VerifierKey, server: str | None, as_json: bool) -> None:
    """Hold the server from now on to the log with this KEY."""
    with opened(server) as store:
        signin.trust(store, need_identity(store), key, keys_file())
        print_result(
            {"server": store.url, "log": key.name},
            as_json,
            lambda: f"{line(store.url)} is held to {line(key.name)}.",
        )


def _by_password(anyone: Api, email: str | None, name: str, code: str | None) -> Json | None:
    email = email or click.prompt("E-mail address", err=True)
    password = os.environ.get(PASSWORD) or click.prompt("Password", hide_input=True, err=True)
    given = [code] if code else []

    def ask(kinds: Sequence[str]) -> str:
        if given:
            return given.pop()
        words = [WORDS[kind] for kind in kinds if kind in WORDS]
        return str(click.prompt(
            f"{' or '.join(words)} (nothing: confirm on a page instead)",
            default="", show_default=False, err=True,
        ))  # fmt: skip

    return approval.by_password(anyone, str(email), password, name, ask)


def _show_page(name: str, page: str, code: str) -> None:
    click.echo(
        f"Open {line(page)} where you are signed in, and type the code\n  {line(code)}\nThere you "
        f"see that “{line(name)}” asks, and confirm it. Waiting, for ten minutes at most …",
        err=True,
    )


def _trusted(
    store: Store, identity: Identity, shown: VerifierKey, given: VerifierKey | None
) -> Identity:
    if given is not None:
        if given != shown:
            raise Stopped(
                f"The server's log is signed with another key:\n{shown}\nSigned in, but this key "
                "is not trusted, and nothing of the log is checked."
            )
        return signin.trust(store, identity, given, keys_file())
    click.echo(
        f"The server says that its log is signed with\n  {shown}\nCompare it with the key "
        "that somebody you trust gives you: whoever runs the server could show any key.",
        err=True,
    )
    if click.confirm("Is it the same?", default=False, err=True):
        return signin.trust(store, identity, shown, keys_file())
    return identity


def _shown(url: str, identity: Identity) -> dict[str, object]:
    return {
        "server": url,
        "keeper": identity.keeper,
        "name": identity.name,
        "device": identity.device,
        "device_name": identity.device_name,
        "public_key": identity.key.public,
        "fingerprint": fingerprint(bytes.fromhex(identity.key.public)),
        "log": identity.origin,
    }


def _in_words(url: str, identity: Identity) -> str:
    log = (
        f"It is held to the log {line(identity.origin)}."
        if identity.origin
        else "No key of its log is trusted: nothing it says is checked against what it vouched for."
    )
    return (
        f"{line(identity.name)} is signed in at {line(url)} on "
        f"“{line(identity.device_name)}”.\n{log}\n"
        f"Its key: {fingerprint(bytes.fromhex(identity.key.public))} (to compare on another device "
        "of yours, which can endorse it: scalewitness endorse)\n"
        "scalewitness sync fetches what you may see."
    )
