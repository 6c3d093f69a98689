"""Pairings planned for a season, whose plans rest on the sex of two animals, and what was seen of
them."""

from django.db import models

from scalewitness.animals.models import Animal, Collection
from scalewitness.ledger.models import AppendOnly
from scalewitness.people.models import Keeper


class Pairing(AppendOnly):
    """Two animals meant to be put together. Of their sexes it says what was planned, no more."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    sire = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="pairings_as_sire")
    dam = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="pairings_as_dam")
    season = models.SmallIntegerField()
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"pairing {self.id}"


class PairingEnd(AppendOnly):
    """The plan was dropped."""

    pairing = models.OneToOneField(Pairing, on_delete=models.PROTECT, related_name="end")
    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"end of pairing {self.pairing_id}"


class PairingAgreement(AppendOnly):
    """Somebody who keeps one of the two agrees to the pairing."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    pairing = models.ForeignKey(Pairing, on_delete=models.PROTECT, related_name="agreements")
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"agreement to pairing {self.pairing_id}"


class AffectedPlan(AppendOnly):
    """What pairings of a collection rest on changed: the sex of ``animal``, one of theirs or a
    mate, or a claim of a trait of it. ``cause``: the fact that brought it about. ``pairings``:
    their ids."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    collection = models.ForeignKey(
        Collection, on_delete=models.PROTECT, related_name="affected_plans"
    )
    season = models.SmallIntegerField()
    animal = models.UUIDField()
    cause = models.UUIDField()
    change = models.CharField(max_length=10)
    pairings = models.JSONField()
    at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["collection", "season", "position"], name="affected_plan_of")
        ]

    def __str__(self) -> str:
        return f"plan of {self.season} affected"


class SeasonNote(AppendOnly):
    """What ``by`` saw of a pairing on a day. ``counted``: what of it was counted or measured."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    pairing = models.ForeignKey(Pairing, on_delete=models.PROTECT, related_name="notes")
    by = models.UUIDField()
    at = models.DateTimeField()
    what = models.CharField(max_length=20)
    on = models.DateField()
    counted = models.JSONField()

    def __str__(self) -> str:
        return f"{self.what} on {self.on}"


class SeasonNoteEnd(AppendOnly):
    """The note was withdrawn."""

    note = models.OneToOneField(SeasonNote, on_delete=models.PROTECT, related_name="end")
    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"end of note {self.note_id}"


class CalendarLink(models.Model):
    """What opens a keeper's calendar to a program that cannot sign in. Its token is derived from
    its id and rests nowhere. The last one that did not end is in force."""

    id = models.UUIDField(primary_key=True)
    keeper = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="calendar_links")
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["keeper"], condition=models.Q(ended_at=None), name="one_calendar_link"
            )
        ]

    def __str__(self) -> str:
        return f"calendar of {self.keeper_id}"
