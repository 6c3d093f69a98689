"""``scalewitness-server init``: from nothing to a service that can be started.

The file of settings is what it goes by when it runs again: passwords and keys are in it before
anything is made with them, and nothing that is there is overwritten.
"""

import os
import sys
from argparse import Namespace
from collections.abc import Mapping, Sequence

from scalewitness import env_file
from scalewitness.domain.translog.keys import BadKey, read_signer
from scalewitness.serving.rooms import LEAST_CONNECTIONS
from scalewitness.setting_up import answers, database, files, keys
from scalewitness.setting_up.answers import Asking
from scalewitness.setting_up.database import AnyConnection, Holding, Role, Superuser
from scalewitness.setting_up.example import example
from scalewitness.setting_up.finishing import done, finish, last_words
from scalewitness.setting_up.refusing import CannotSetUp

KEYS = ("SECRET_KEY", "LOG_SIGNING_KEY", "LOG_MAP_KEY")
"""What a record cannot go on without."""
OWNERS = "DATABASE_OWNER_URL"
WEB_PROCESSES = 2
USUAL_POOL = 64
"""As the settings have them: `serving.web_server` and ``DATABASE_POOL_MAX``."""
OWNERS_HEAD = """\
# The owner's way into the database: for migrate, backup and restore, never for web and worker.
"""


def init(arguments: Sequence[str]) -> int:
    """Returns the process's status."""
    options = answers.parser().parse_args(arguments)
    try:
        with files.alone(options.env_file):
            _set_up(options, Asking(options.no_input))
    except CannotSetUp as fault:
        sys.stderr.write(f"{fault}\n")
        return 1
    except (KeyboardInterrupt, EOFError):
        sys.stderr.write("\nStopped. The same command goes on.\n")
        return 1
    return 0


def new_log_key(arguments: Sequence[str]) -> int:
    """Print fresh keys for the environment, and the public half to give to others."""
    if len(arguments) != 1:
        sys.stderr.write(
            "usage: scalewitness-server new_log_key NAME, such as record.example/log\n"
        )
        return 2
    try:
        signer = keys.fresh_log_key(arguments[0])
    except ValueError as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    sys.stdout.write(f"LOG_SIGNING_KEY={signer.secret()}\n")
    sys.stdout.write(f"LOG_MAP_KEY={keys.fresh_map_key().secret()}\n")
    sys.stderr.write(f"public: {signer.verifier}\n")
    return 0


def env_example(arguments: Sequence[str]) -> int:
    """Print the example of a file of settings."""
    sys.stdout.write(example())
    return 0


def _set_up(options: Namespace, asking: Asking) -> None:
    path = options.env_file
    owners_path = env_file.owners(path)
    kept = files.kept(path) | files.kept(owners_path)
    values = answers.agreeing(kept, answers.given(options), str(path))
    values = answers.complete(values, options, asking)
    superuser = _superuser(options, values, asking)
    values = _with_pool(_with_addresses(values, options, superuser), superuser)
    _require_keys_of(_held(values, superuser), values)
    values = _with_keys(values, options)
    password = answers.operators_password(options, asking) if values.get("OPERATORS") else ""
    _keep(values, options)
    if superuser is not None:
        _make(values, superuser)
    _require_roles(values)
    os.environ |= values
    undone = finish(values, options, password)
    sys.stdout.write(last_words(values, options, undone))
    if undone:
        raise CannotSetUp("Some of it is not done: see above.")


def _superuser(options: Namespace, values: Mapping[str, str], asking: Asking) -> Superuser | None:
    """Who makes roles and database, or None where they are said to be there."""
    if options.local_postgres:
        return Superuser(database.LOCAL, local=True)
    url = options.superuser_url or os.environ.get(answers.SUPERUSER)
    if not url and not (values.get("DATABASE_URL") and values.get("DATABASE_OWNER_URL")):
        url = asking.secret("A superuser's address of PostgreSQL (postgresql://…), used once")
        if not url:
            raise CannotSetUp(
                "Give --local-postgres, --superuser-url, or both --database-url and "
                "--database-owner-url."
            )
    return Superuser(url) if url else None


def _with_addresses(
    values: Mapping[str, str], options: Namespace, superuser: Superuser | None
) -> dict[str, str]:
    """With both addresses of the database; passwords are made for roles that are to be made."""
    found = dict(values)
    if superuser is None:
        return found
    wanted = {"DATABASE_URL": "app", "DATABASE_OWNER_URL": "owner"}
    with superuser.connected() as connection:
        for name, part in wanted.items():
            if not found.get(name):
                role = Role(f"{options.database}_{part}", keys.fresh_secret())
                _require_new(connection, role, options)
                found[name] = superuser.url_of(role, connection, options.database)
    return found


def _with_pool(values: Mapping[str, str], superuser: Superuser | None) -> dict[str, str]:
    """With pools for which the server has connections, where it has few, as new ones do."""
    with (
        superuser.connected()
        if superuser
        else database.connected(values[OWNERS], "the role of DATABASE_OWNER_URL")
    ) as connection:
        most = (database.free_connections(connection) - database.OTHERS) // WEB_PROCESSES
    if values.get("DATABASE_POOL_MAX") or most >= USUAL_POOL:
        return dict(values)
    return {**values, "DATABASE_POOL_MAX": str(max(most, LEAST_CONNECTIONS))}


def _require_new(connection: AnyConnection, role: Role, options: Namespace) -> None:
    if database.has_role(connection, role.name):
        raise CannotSetUp(
            f"PostgreSQL has a role {role.name}, and {options.env_file} does not know its "
            "password. If that file was lost, get it from where its copy is kept. Otherwise give "
            "both --database-url and --database-owner-url, or another --database."
        )


def _held(values: Mapping[str, str], superuser: Superuser | None) -> Holding:
    name = database.database_in(values["DATABASE_OWNER_URL"])
    if superuser is None:
        with database.connected(values["DATABASE_OWNER_URL"], "the owner's role") as owner:
            return database.holding(owner)
    with superuser.connected() as connection:
        if not database.has_database(connection, name):
            return Holding(0, None)
    with superuser.connected(name) as inside:
        return database.holding(inside)


def _require_keys_of(found: Holding, values: Mapping[str, str]) -> None:
    """A record that is there goes on under its own keys or not at all."""
    if not found.entries:
        return
    if missing := [name for name in KEYS if not values.get(name)]:
        raise CannotSetUp(
            f"The database holds a record already (entries: {found.entries}). Its keys are needed, "
            f"and new ones would end it: put {', '.join(missing)} into the file, from where they "
            "are kept."
        )
    if found.key and (other := _other_key(found.key, values["LOG_SIGNING_KEY"])):
        raise CannotSetUp(other)


def _other_key(signed: str, ours: str) -> str:
    try:
        verifier = str(read_signer(ours).verifier)
    except BadKey as fault:
        return f"LOG_SIGNING_KEY: {fault}"
    if verifier == signed:
        return ""
    return (
        f"The record in the database was signed last under {signed}, and LOG_SIGNING_KEY is that "
        f"of {verifier}. See “Changing the log's key” in OPERATING.md."
    )


def _with_keys(values: Mapping[str, str], options: Namespace) -> dict[str, str]:
    """With a key in each place that has none."""
    found = dict(values)
    if not found.get("LOG_SIGNING_KEY"):
        try:
            found["LOG_SIGNING_KEY"] = keys.fresh_log_key(answers.origin(options, values)).secret()
        except ValueError as fault:
            raise CannotSetUp(f"--origin: {fault}.") from None
    if not found.get("LOG_MAP_KEY"):
        found["LOG_MAP_KEY"] = keys.fresh_map_key().secret()
    found.setdefault("SECRET_KEY", keys.fresh_secret(50))
    found.setdefault("METRICS_TOKEN", keys.fresh_secret())
    return found


def _keep(values: Mapping[str, str], options: Namespace) -> None:
    """Into the files, before anything is made with it."""
    path = options.env_file
    owners_path = env_file.owners(path)
    shared = {name: value for name, value in values.items() if name != OWNERS}
    try:
        text = path.read_text() if path.exists() else example()
        own = owners_path.read_text() if owners_path.exists() else OWNERS_HEAD
        files.write(owners_path, env_file.filled(own, {OWNERS: values[OWNERS]}))
        files.write(path, env_file.filled(text, shared), options.user)
    except env_file.BadEnvFile as fault:
        raise CannotSetUp(str(fault)) from None


def _make(values: Mapping[str, str], superuser: Superuser) -> None:
    app, owner = (database.role_in(values[name]) for name in ("DATABASE_URL", OWNERS))
    name = database.database_in(values[OWNERS])
    with superuser.connected() as connection:
        for role in (owner, app):
            done(f"role {role.name}", database.ensure_role(connection, role))
        done(f"database {name}", database.ensure_database(connection, name, owner.name))
    with superuser.connected(name) as inside:
        database.limit_database(inside, name, owner.name, app.name)


def _require_roles(values: Mapping[str, str]) -> None:
    with (
        database.connected(values["DATABASE_URL"], "the role of DATABASE_URL") as app,
        database.connected(values[OWNERS], "the role of DATABASE_OWNER_URL") as owner,
    ):
        database.require_two_roles(app, owner)
