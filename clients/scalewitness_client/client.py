"""A keeper's device at one server, as a script uses it. What it keeps is what the command keeps:
both may use one folder, one after the other or at once."""

import time
from collections.abc import Iterator, Mapping
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import msgspec

from scalewitness.domain.facts import BODIES, CallMade
from scalewitness.domain.facts.calls import Identification, Reported
from scalewitness.domain.facts.shapes import Body
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.observations import Conclusion, Holder, Observation, Sex, Sureness
from scalewitness.domain.translog.keys import VerifierKey, read_verifier
from scalewitness_cli import checks, outbox, replica, signin
from scalewitness_cli.identity import Identity, moment_now, need_identity
from scalewitness_cli.locking import locked
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Api, RetryLimit, Stopped, Unreachable
from scalewitness_cli.speaking import line_to
from scalewitness_cli.store import Store, data_folder, used_servers
from scalewitness_cli.sync import Synced, sync
from scalewitness_cli.trust import kept_keys, keys_file
from scalewitness_cli.whose_log import origin_of
from scalewitness_client.problems import InvalidFact, LogAlarm, NotAccepted
from scalewitness_client.reading import AnimalRecord, EntryRecord, animal_of, entry_of

KINDS: Mapping[type[Body], str] = {body: kind for kind, body in BODIES.items()}


class Client:
    """Use it as a context manager. Made by :meth:`sign_in` or :meth:`open`.

    Everything that is stated is signed and on the disk when the method returns; :meth:`sync` sends
    it. What was sent and not answered is sent again under the same id, so nothing is counted twice.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._identity = need_identity(store)

    @classmethod
    def sign_in(
        cls, url: str, email: str, password: str, *, device: str = "script",
        code: str | None = None, log_key: str | None = None, folder: Path | None = None,
    ) -> "Client":  # fmt: skip
        """Make this machine a device of a keeper's, with a key of its own.

        Args:
            code: Of a second factor, where one is set up.
            log_key: The log's public key, from somebody you trust. Without it nothing that the
                server shows is held to the log.
            folder: Where to keep it. Else where the command does.

        Raises:
            Refusal: the address, password or code is wrong, or a code is needed.
            Unreachable: the server does not answer.
            Stopped: the log is signed with another key, or somebody else is signed in here.
        """
        given = {"email": email, "password": password, "name": device}
        store = Store(folder or data_folder(), url)
        try:
            with Api(url, retrying=QUIET) as anyone:
                made = anyone.post("devices", given | ({"code": code} if code else {}))
                identity = signin.become(store, anyone, made, device)
            with Api(url, identity.token, QUIET) as api:
                identity = signin.enrol(store, identity, api)
                if log_key is not None:
                    _trust(store, identity, signin.log_key(api), read_verifier(log_key))
            return cls(store)
        except BaseException:
            (store.discard if store.unused else store.close)()
            raise

    @classmethod
    def open(cls, url: str | None = None, *, folder: Path | None = None) -> "Client":
        """The device that is signed in here already; ``url`` where several are.

        Raises:
            Stopped: none is, or it is not clear which one.
        """
        kept = folder or data_folder()
        known = used_servers(kept)
        wanted = [one for one in known if url is None or one == url.rstrip("/")]
        if len(wanted) != 1:
            raise Stopped(f"Signed in here: {', '.join(known) or 'nobody'}. Say which server.")
        return cls(Store(kept, wanted[0]))

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *trouble: object) -> None:
        self.close()

    def close(self) -> None:
        self._store.close()

    @property
    def keeper(self) -> str:
        """The keeper's id."""
        return self._identity.keeper

    @property
    def log_origin(self) -> str | None:
        """Of the log that all positions read here are of; None before the first sync."""
        return origin_of(self._store)

    # --- reading, as of the last sync

    def animals(self) -> Iterator[AnimalRecord]:
        """All that may be seen, by tag."""
        return map(animal_of, replica.animals_at(self._store, now_by(self._store)))

    def animal(self, word: str) -> AnimalRecord:
        """The one with this tag, transponder code, name or id.

        Raises:
            Stopped: there is none, or several.
        """
        return animal_of(replica.find(self._store, word, now_by(self._store)))

    def entries(self, animal: AnimalRecord) -> Iterator[EntryRecord]:
        """What the log has of it and one may read, in its order."""
        return map(entry_of, replica.facts_about(self._store, animal.id))

    def receipt(self, id: str) -> str:
        """The proof that the log has what was stated here under this id.

        Raises:
            Stopped: there is none yet, or nothing here has the id.
        """
        item = outbox.item_named(self._store, id)
        if item.receipt is None:
            raise Stopped(f"No receipt of {item.id} is here: {item.fault or 'none was made yet'}.")
        return item.receipt

    # --- stating

    def state(
        self, about: AnimalRecord | str, body: Body, *, at: datetime | None = None,
        texts: Mapping[str, str] | None = None,
    ) -> str:  # fmt: skip
        """State a fact of any kind; its id.

        Args:
            about: The animal, or the id of what it is about.
            at: When it was; with its time zone. Else now, by this machine's clock.
            texts: Free texts by field, such as ``{"note": …}``; the log keeps fingerprints.

        Raises:
            InvalidFact: a value is not possible.
        """
        if at is not None and at.tzinfo is None:
            raise InvalidFact("`at` needs its time zone.")
        now = moment_now()
        id = about.id if isinstance(about, AnimalRecord) else about
        made = checks.fact(KINDS[type(body)], id, rfc3339(at or now), msgspec.to_builtins(body))
        if texts:
            made["texts"] = dict(texts)
        try:
            (stored,) = outbox.add(self._store, self._identity.key, [made], rfc3339(now))
        except (msgspec.ValidationError, ValueError) as fault:
            raise InvalidFact(f"{made['kind']}: {fault}") from None
        return stored.id

    def call(
        self, animal: AnimalRecord, observed: Observation, *, conclusion: Conclusion,
        sureness: Sureness, identified: Identification, held_by: Holder = "not_held",
        known_sex: Sex | None = None, visit: str | None = None, reported: Reported | None = None,
        document: bytes | None = None, note: str | None = None, at: datetime | None = None,
    ) -> str:  # fmt: skip
        """State what was found of an animal's sex; the call's id. On somebody else's animal it
        is of the ``visit`` that covers it at that time, where none is named.

        Args:
            known_sex: What whoever examined it had been told before.
            document: The report it is taken from; its SHA-256 alone is sent.

        Raises:
            InvalidFact: a value is not possible.
        """
        shown = replica.find(self._store, animal.id, now_by(self._store))
        if visit is None and not replica.is_steward(self._store, shown):
            visit = replica.visit_covering(self._store, animal.id, rfc3339(at or moment_now()))
        body = CallMade(
            conclusion=conclusion, sureness=sureness, observed=observed, identified=identified,
            held_by=held_by, visit=visit, reported=reported,
            document=None if document is None else sha256(document).hexdigest(),
        )  # fmt: skip
        body = msgspec.structs.replace(body, **{"told": known_sex})
        return self.state(animal, body, at=at, texts={"note": note} if note else None)

    # --- the server

    def bundle(self, animal: AnimalRecord) -> bytes:
        """The animal's whole record as one signed file, for :func:`check_bundle` anywhere.

        Raises:
            Refusal: only a part of it may be seen.
            Unreachable: after retries.
        """
        with Api(self._store.url, self._identity.token, QUIET) as api:
            return api.file(f"animals/{animal.id}/bundle")

    def sync(self, seconds: float = 60.0) -> Synced:
        """Send what waits, hold the log to what was seen of it, fetch what is new, prove it.

        Args:
            seconds: For how long a server that does not answer is asked again.

        Raises:
            NotAccepted: something stated here was refused, or somebody else edited the same.
            LogAlarm: the log contradicts what was seen of it.
            Unreachable: the server does not answer, or takes nothing for now. All stays stored.
            Refusal: the server does not know this device any more.
        """
        trusted = kept_keys(keys_file())
        retrying = RetryLimit(seconds=seconds, asked=seconds, tell=_nobody)
        with (
            locked(self._store.folder / "sync.lock"),
            Api(self._store.url, self._identity.token, retrying) as api,
            PublicLog(self._store.url) as log,
        ):
            line = line_to(self._identity, api, log, trusted)
            done = sync(self._store, self._identity, line, int(time.time()))
        self._identity = need_identity(self._store)
        if done.alarm is not None or done.forged:
            raise LogAlarm(done.unread or "A fact in your name breaks the record's own rules.")
        if done.unsent:
            raise Unreachable(done.unsent)
        amiss = outbox.items(self._store, "refused", "conflict")
        if amiss:
            raise NotAccepted({one.id: _problem(one) for one in amiss})
        return done

    def get(self, path: str, **params: str) -> Any:
        """What the REST API answers at a path below ``/api/v1/``, as decoded JSON.

        Raises:
            Refusal: with status, code and problem details.
            Unreachable: after retries.
        """
        with Api(self._store.url, self._identity.token, QUIET) as api:
            return api.get(path, **params)

    def each(self, path: str, **params: str) -> Iterator[dict[str, Any]]:
        """The items of a list of the API, page after page. Raises as :meth:`get`."""
        with Api(self._store.url, self._identity.token, QUIET) as api:
            yield from api.each(path, **params)


def _nobody(text: str) -> None:
    """A script is told by exceptions alone."""


QUIET = RetryLimit(seconds=30, asked=30, tell=_nobody)


def _problem(item: outbox.Item) -> dict[str, Any]:
    answer = item.answer or {}
    return dict(answer.get("problem") or answer)


def _trust(store: Store, identity: Identity, shown: VerifierKey, given: VerifierKey) -> None:
    if given != shown:
        raise Stopped(f"The server's log is signed with another key: {shown}")
    signin.trust(store, identity, given, keys_file())
