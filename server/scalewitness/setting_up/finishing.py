"""What init does once there are settings, and what it says at the end."""

import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path

import django
from django.core.exceptions import ImproperlyConfigured
from django.core.management import CommandError, call_command
from django.db import Error as DatabaseError

from scalewitness import env_file
from scalewitness.domain.translog.keys import read_signer
from scalewitness.setting_up.refusing import CannotSetUp


def done(what: str, made: bool = True) -> None:
    """One line of what was made, or was there."""
    sys.stdout.write(f"{'made' if made else 'had'}  {what}\n")
    sys.stdout.flush()


def finish(values: Mapping[str, str], options: Namespace, password: str) -> list[str]:
    """Tables, static files, the operator's account, founders. Returns what is left to do, in words.

    Raises:
        CannotSetUp: the settings, the tables or the folder of static files cannot be used.
    """
    try:
        django.setup()
        call_command("migrate", interactive=False, verbosity=0)
        done("the tables and their guard")
        call_command("collectstatic", interactive=False, verbosity=0)
        done(f"the static files in {values.get('STATIC_ROOT') or 'STATIC_ROOT'}")
    except (ImproperlyConfigured, CommandError, DatabaseError) as fault:
        raise CannotSetUp(f"{type(fault).__name__}: {' '.join(str(fault).split())}") from None
    except OSError as fault:
        raise CannotSetUp(
            f"{fault.filename}: {fault.strerror}. Is it full, or another account's?"
        ) from None
    operators = [one for one in values.get("OPERATORS", "").split(",") if one]
    return [*_account(operators, options, password), *_founders(options.founder)]


def _account(operators: Sequence[str], options: Namespace, password: str) -> list[str]:
    """The first operator's."""
    if not operators:
        return []
    name = options.operator_name or "Operator"
    try:
        out = StringIO()
        call_command("open_account", operators[0], name=name, password=password, stdout=out)
    except CommandError as fault:
        return [f"The account of {operators[0]}: {fault}"]
    done(f"the account of {operators[0]}", out.getvalue().startswith("opened"))
    return []


def _founders(addresses: Sequence[str]) -> list[str]:
    if not addresses:
        return []
    try:
        call_command("name_founders", *addresses)
    except CommandError as fault:
        return [f"{fault}. Then: scalewitness-server name_founders {' '.join(addresses)}"]
    done(f"founders: {', '.join(addresses)}")
    return []


def last_words(values: Mapping[str, str], options: Namespace, undone: Sequence[str]) -> str:
    path: Path = options.env_file
    public = read_signer(values["LOG_SIGNING_KEY"]).verifier
    left = "".join(f"NOT DONE: {one}\n" for one in undone)
    return f"""
{left}Keep elsewhere, today, where neither this host nor its backups are (on paper or in a safe):
  {path}
  {env_file.owners(path)}
LOG_SIGNING_KEY, LOG_MAP_KEY and SECRET_KEY in the first are in no backup. Without them this record
ends, whatever else is saved. To see later that the copy is the right one:
  scalewitness-server check --kept-keys COPY

Give to others, so that they can tell this log from any other: its public key
  {public}

Next:
  1. Start web, worker and one beat, with {env_file.VARIABLE}={path}
  2. Let a proxy serve {values["PUBLIC_URL"]} with TLS.
  3. scalewitness-server check --mail-to YOUR-ADDRESS
  4. Set up backups, and tell the settings how old they are: BACKUP_STAMP or BACKUP_INFO_COMMAND.
{_to_sign_in(values, options)}"""


def _to_sign_in(values: Mapping[str, str], options: Namespace) -> str:
    if not values.get("OPERATORS"):
        return "  5. Open the operator's account: run init again with --operator ADDRESS.\n"
    url = f"{values['PUBLIC_URL']}/accounts"
    return (
        f"  5. Sign in at {url}/login/ (no password yet? {url}/password/reset/ sends a letter).\n"
    )
