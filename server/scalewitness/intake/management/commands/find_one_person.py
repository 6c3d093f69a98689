"""``find_one_person FINDING KEEPER KEEPER``: a finding names two accounts as one person's."""

from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.named_as_one import (
    OBJECT_WITHIN,
    find_one_person,
    reject_objection,
    waiting_objections,
)


class Command(BaseCommand):
    help = (
        "Record that a finding names two accounts as one person's. Both get a letter, and count as "
        "one examiner of that animal unless one of them objects within 14 days. Without arguments: "
        "lists objections that wait for you."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("finding", nargs="?", type=UUID, help="the id of the finding's fact")
        parser.add_argument("keepers", nargs="*", type=UUID, help="the ids of both")
        parser.add_argument(
            "--objection-is-wrong",
            metavar="ID",
            type=UUID,
            help="you heard both, and they are one person; if not, run part_accounts",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._do(options["finding"], options["keepers"], options["objection_is_wrong"])
        except Refused as refused:
            raise CommandError(refused.detail) from None

    def _do(self, finding: UUID | None, keepers: list[UUID], rejected: UUID | None) -> None:
        now = timezone.now()
        if rejected is not None:
            reject_objection(rejected, now)
            self.stdout.write("The objection is answered; both are told.")
        elif finding is None:
            for one in waiting_objections():
                pair = f"{one.first_id} {one.second_id}"
                self.stdout.write(f"{one.pk}: animal {one.animal}, accounts {pair}")
        elif len(keepers) != 2:
            raise CommandError("Two accounts are needed.")
        else:
            find_one_person(finding, keepers[0], keepers[1], now)
            self.stdout.write(f"Both are told. They have {OBJECT_WITHIN.days} days to object.")
