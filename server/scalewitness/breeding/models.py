"""Pairings planned for a season: whose plans rest on the sex of two animals."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly


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
