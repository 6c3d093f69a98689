"""``erasures``: what was erased, by ids, to be kept elsewhere; and erases it again on a copy that
was restored from before."""

from argparse import ArgumentParser
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, Literal
from uuid import UUID

import msgspec
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.erasure import ERASED_NAME
from scalewitness.domain.errors import Refused
from scalewitness.intake.erasure import (
    Wish,
    close_account,
    erase_buyers,
    erase_practitioner,
    erase_texts_by,
    erase_texts_of,
)
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.sales.models import Buyer


class Erasure(msgspec.Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True):
    """A line of the list: what a ``data_erased`` fact says, and when it was stated."""

    at: str
    about: UUID
    what: Literal["text", "photo", "all_they_wrote", "name"]
    wish: Wish
    of: UUID | None = None


class Command(BaseCommand):
    help = (
        "Print what was erased, a line of JSON each, by ids alone: keep it where a restored "
        "backup does not set it back. With --repeat, erase all of a kept list again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--repeat", type=Path, metavar="FILE", help="a list that was kept")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["repeat"] is None:
            for line in _on_record():
                self.stdout.write(msgspec.json.encode(line).decode())
        else:
            self._repeat(list(_read(options["repeat"])))

    def _repeat(self, lines: list[Erasure]) -> None:
        anew = left = 0
        for line in lines:
            try:
                anew += _erase_again(line)
            except Refused as refused:
                left += 1
                self.stderr.write(f"Not erased: {line.what} of {line.about}. {refused.detail}")
        self.stdout.write(f"{len(lines)} on the list, {anew} erased anew.")
        if left:
            raise CommandError(f"{left} could not be erased, for the reasons above.")


def _on_record() -> Iterator[Erasure]:
    stated = Entry.objects.filter(kind="data_erased").order_by("position")
    for entry in stated.iterator(chunk_size=1000):
        leaf = leaf_of(entry)
        yield msgspec.convert({"at": leaf.at, "about": leaf.about, **leaf.body}, Erasure)


def _read(file: Path) -> Iterator[Erasure]:
    """All lines, read before the first is acted on."""
    try:
        for number, line in enumerate(file.read_bytes().splitlines(), 1):
            try:
                yield msgspec.json.decode(line, type=Erasure)
            except msgspec.MsgspecError as fault:
                raise CommandError(f"{file}, line {number}: {fault}") from None
    except OSError as fault:
        raise CommandError(f"{file}: {fault.strerror}") from None


def _erase_again(line: Erasure) -> bool:
    """Whether anything was still there."""
    now = timezone.now()
    if line.what == "name":
        return _name(line.about, line.wish, now)
    if line.what == "all_they_wrote":
        return erase_texts_by(line.about, now, line.wish, line.of) > 0
    return erase_texts_of(line.about, now, line.wish) > 0


def _name(who: UUID, wish: Wish, now: datetime) -> bool:
    """Of a keeper, a buyer or a practitioner: whichever has this id."""
    if keeper := Keeper.objects.filter(pk=who, is_active=True).first():
        close_account(keeper, now, wish=wish)
        return True
    if practitioner := Practitioner.objects.filter(pk=who).exclude(name=ERASED_NAME).first():
        erase_practitioner(practitioner, now, wish)
        return True
    return erase_buyers(Buyer.objects.filter(pk=who).exclude(name=ERASED_NAME), now, wish) > 0
