"""``erase WHAT WHO``: erase personal data, as the law may ask; proofs hold as before."""

from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.erasure import close_account, erase_buyers, erase_practitioner
from scalewitness.ledger.services.writing import erase_text
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.sales.models import Buyer


class Command(BaseCommand):
    help = (
        "Erase the texts of a fact (by its id), the name of a veterinarian, laboratory or "
        "earlier keeper (by its id), a buyer's name and address (by id or address), or a "
        "keeper's, which closes the account (by id or address)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=sorted(ERASE))
        parser.add_argument("who", metavar="WHO", help="an id or, for people, an address")
        parser.add_argument(
            "--texts", action="store_true", help="of a keeper: all their free text as well"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            done = ERASE[options["what"]](options["who"], options["texts"])
        except Refused as refused:
            raise CommandError(f"Not erased. {refused.detail}") from None
        self.stdout.write(done)


def _id(who: str) -> UUID | None:
    try:
        return UUID(who)
    except ValueError:
        return None


def _texts(fact: str, _: bool) -> str:
    known = _id(fact)
    if known is None:
        raise CommandError(f"{fact} is not the id of a fact")
    return f"{erase_text(known)} texts erased"


def _practitioner(who: str, _: bool) -> str:
    known = _id(who)
    found = Practitioner.objects.filter(pk=known).first() if known else None
    if found is None:
        raise CommandError(f"nobody was named under {who}")
    erase_practitioner(found)
    return "1 name erased"


def _buyer(who: str, _: bool) -> str:
    known = _id(who)
    found = Buyer.objects.filter(pk=known) if known else Buyer.objects.filter(email__iexact=who)
    if not found:
        raise CommandError(f"nobody bought anything as {who}")
    return f"name and address erased from {erase_buyers(found)} purchases"


def _keeper(who: str, texts: bool) -> str:
    known = _id(who)
    found = Keeper.objects.filter(pk=known) if known else Keeper.objects.filter(email__iexact=who)
    keeper = found.first()
    if keeper is None:
        raise CommandError(f"{who} has no account")
    close_account(keeper, timezone.now(), texts=texts)
    return f"account {keeper.pk} closed, name and address erased"


ERASE: dict[str, Callable[[str, bool], str]] = {
    "texts": _texts,
    "practitioner": _practitioner,
    "buyer": _buyer,
    "keeper": _keeper,
}
