"""Writing the log, and the database's own guard over it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.apps import apps
from django.db import models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.domain.translog.tree import Frontier, leaf_hash
from scalewitness.ledger.models import AppendOnly, Entry, Head, Text

HISTORY_PREFIX = "historical"
B = TypeVar("B", covariant=True)


@dataclass(frozen=True, slots=True)
class Draft:
    """A fact about to enter the log."""

    id: UUID
    kind: str
    by: UUID | None
    device: UUID | None
    at: datetime
    about: UUID | None
    body: Mapping[str, Any]
    flags: tuple[str, ...] = ()

    def leaf(self) -> bytes:
        """The canonical bytes that the log hashes."""
        return leaf_bytes(
            kind=self.kind,
            id=str(self.id),
            by=str(self.by) if self.by else None,
            device=str(self.device) if self.device else None,
            at=rfc3339(self.at),
            about=str(self.about) if self.about else None,
            body=self.body,
            sig=None,
        )


@dataclass(frozen=True, slots=True)
class Logged(Generic[B]):
    """A fact with its position, as the apps' services receive it. ``B``: its body type."""

    id: UUID
    position: int
    by: UUID | None
    at: datetime
    received_at: datetime
    about: UUID
    body: B

    @property
    def sender(self) -> UUID:
        """Who said it; what the record itself states has no sender."""
        if self.by is None:
            raise ValueError("a fact that the record itself stated")
        return self.by


class Writer:
    """Gives out positions under the head's row lock and writes all entries at once.

    Make one inside a transaction, after everything slow is done: whoever holds it is the
    only writer until commit. That one lock is what makes order, permission checks and
    standings consistent without any other.
    """

    def __init__(self, received_at: datetime) -> None:
        if not transaction.get_connection().in_atomic_block:
            raise RuntimeError("the log is written inside a transaction")
        self._head = Head.objects.select_for_update().get(pk=1)
        self._received_at = received_at
        self._entries: list[Entry] = []

    def add(self, draft: Draft) -> int:
        """Take the next position for a fact; nothing is stored before ``flush``."""
        position = self._head.size + len(self._entries)
        leaf = draft.leaf()
        self._entries.append(
            Entry(
                position=position,
                fact=draft.id,
                kind=draft.kind,
                by=draft.by,
                device=draft.device,
                about=draft.about,
                claimed_at=draft.at,
                received_at=self._received_at,
                flags=list(draft.flags),
                leaf=leaf,
                leaf_hash=leaf_hash(leaf),
            )
        )
        return position

    @property
    def size(self) -> int:
        """The log's size with what is pending: no position at or above it exists yet."""
        return self._head.size + len(self._entries)

    @property
    def pending(self) -> int:
        return len(self._entries)

    def drop_after(self, count: int) -> None:
        """Forget all but the first ``count`` facts; their rows were rolled back."""
        del self._entries[count:]

    def flush(self) -> int:
        """Store the entries and move the head; the new size."""
        if self._entries:
            frontier = Frontier.from_bytes(bytes(self._head.frontier))
            frontier = frontier.append(bytes(entry.leaf_hash) for entry in self._entries)
            Entry.objects.bulk_create(self._entries)
            self._head.size = frontier.size
            self._head.frontier = frontier.to_bytes()
            self._head.root = frontier.root()
            self._head.save()
            self._entries = []
        return self._head.size


def keep_text(fact: UUID, field: str, salt: bytes, text: str) -> None:
    Text.objects.create(fact=fact, field=field, salt=salt, text=text)


def erase_text(fact: UUID) -> int:
    """Delete the free text of a fact, as the law may ask. Its commitment stays in the
    log, so every proof still holds. Returns how many texts there were."""
    deleted, _ = Text.objects.filter(fact=fact).delete()
    return deleted


# --- the database's own guard ---------------------------------------------------------

GUARD = """
CREATE OR REPLACE FUNCTION scalewitness_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% on % is refused: the record is append-only', TG_OP, TG_TABLE_NAME
    USING ERRCODE = 'insufficient_privilege';
END $$;
CREATE OR REPLACE FUNCTION scalewitness_head_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP <> 'UPDATE' OR NEW.id <> OLD.id OR NEW.size < OLD.size
     OR (NEW.size = OLD.size AND (NEW.root <> OLD.root OR NEW.frontier <> OLD.frontier)) THEN
    RAISE EXCEPTION 'the head of the log only grows' USING ERRCODE = 'insufficient_privilege';
  END IF;
  RETURN NEW;
END $$;
"""


def guarded_models() -> list[type[models.Model]]:
    """Every table that is only ever added to: facts, log entries and edit histories."""
    return [model for model in apps.get_models() if _append_only(model)]


def _append_only(model: type[models.Model]) -> bool:
    return issubclass(model, AppendOnly) or model.__name__.lower().startswith(HISTORY_PREFIX)


def guard_tables(connection: BaseDatabaseWrapper) -> None:
    """Put the refusing triggers on every guarded table. Repeating it changes nothing."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(GUARD)
        for model in guarded_models():
            table = quote(model._meta.db_table)
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER refuse_change BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION scalewitness_refuse_change()"
            )
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER refuse_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION scalewitness_refuse_change()"
            )
        head = quote(Head._meta.db_table)
        cursor.execute(
            f"CREATE OR REPLACE TRIGGER only_grows BEFORE UPDATE OR DELETE ON {head} "
            "FOR EACH ROW EXECUTE FUNCTION scalewitness_head_grows()"
        )
        cursor.execute(
            f"CREATE OR REPLACE TRIGGER no_truncate BEFORE TRUNCATE ON {head} "
            "FOR EACH STATEMENT EXECUTE FUNCTION scalewitness_head_grows()"
        )


def limit_runtime_role(connection: BaseDatabaseWrapper, role: str) -> None:
    """Give the web and worker's role what it needs and nothing that could alter a fact."""
    quote = connection.ops.quote_name
    name = quote(role)
    # In one transaction, so that a running server never sees itself without rights.
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        cursor.execute(f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {name}")
        cursor.execute(f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {name}")
        for model in apps.get_models(include_auto_created=True):
            rights = ", ".join(_rights(model))
            cursor.execute(f"GRANT {rights} ON {quote(model._meta.db_table)} TO {name}")
        cursor.execute(f"GRANT SELECT ON django_migrations TO {name}")


def _rights(model: type[models.Model]) -> Iterable[str]:
    if _append_only(model):
        return ("SELECT", "INSERT")
    if model is Head:
        return ("SELECT", "UPDATE")
    if model is Text:
        return ("SELECT", "INSERT", "DELETE")
    return ("SELECT", "INSERT", "UPDATE", "DELETE")
