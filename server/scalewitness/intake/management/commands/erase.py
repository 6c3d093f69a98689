"""``erase WHAT WHO``: erase personal data, as the law may ask; proofs hold as before."""

from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.erasure import (
    Wish,
    close_account,
    erase_buyers,
    erase_practitioner,
    erase_texts_of,
)
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
            "--by-operator",
            action="store_true",
            help="the fact that tells of it says that it was the operator's own wish, "
            "not that of whom it is about",
        )
        parser.add_argument(
            "--texts", action="store_true", help="of a keeper: all their free text as well"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            wish: Wish = "operator" if options["by_operator"] else "author"
            done = ERASE[options["what"]](options["who"], wish, options["texts"])
        except Refused as refused:
            raise CommandError(f"Not erased. {refused.detail}") from None
        self.stdout.write(done)


def _id(who: str) -> UUID | None:
    try:
        return UUID(who)
    except ValueError:
        return None


def _texts(fact: str, wish: Wish, _: bool) -> str:
    known = _id(fact)
    if known is None:
        raise CommandError(f"{fact} is not the id of a fact")
    return f"{erase_texts_of(known, timezone.now(), wish)} texts erased"


def _practitioner(who: str, wish: Wish, _: bool) -> str:
    known = _id(who)
    found = Practitioner.objects.filter(pk=known).first() if known else None
    if found is None:
        raise CommandError(f"nobody was named under {who}")
    erase_practitioner(found, timezone.now(), wish)
    return "1 name erased"


def _buyer(who: str, wish: Wish, _: bool) -> str:
    known = _id(who)
    found = Buyer.objects.filter(pk=known) if known else Buyer.objects.filter(email__iexact=who)
    if not found:
        raise CommandError(f"nobody bought anything as {who}")
    count = erase_buyers(found, timezone.now(), wish)
    return f"name and address erased from {count} purchases"


def _keeper(who: str, wish: Wish, texts: bool) -> str:
    known = _id(who)
    found = Keeper.objects.filter(pk=known) if known else Keeper.objects.filter(email__iexact=who)
    keeper = found.first()
    if keeper is None:
        raise CommandError(f"{who} has no account")
    close_account(keeper, timezone.now(), wish=wish, texts=texts)
    return f"account {keeper.pk} closed, name and address erased"


ERASE: dict[str, Callable[[str, Wish, bool], str]] = {
    "texts": _texts,
    "practitioner": _practitioner,
    "buyer": _buyer,
    "keeper": _keeper,
}
