"""Notices owed to people who relied on a verified sex that no longer stands."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly
from scalewitness.sales.models import Buyer, Sale


class Disclosure(AppendOnly):
    """Both versions side by side: what was represented, what the record says now."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    sale = models.ForeignKey(Sale, on_delete=models.PROTECT, related_name="disclosures")
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="disclosures")
    to = models.ForeignKey(Buyer, on_delete=models.PROTECT, related_name="disclosures")
    cause = models.UUIDField()
    change = models.CharField(max_length=10)
    was = models.JSONField()
    now = models.JSONField()
    owed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["sale", "animal", "to", "cause"], name="one_disclosure_per_cause"
            )
        ]

    def __str__(self) -> str:
        return f"{self.change} for {self.sale_id}"


class Acknowledgement(AppendOnly):
    """The buyer has read a disclosure."""

    disclosure = models.OneToOneField(
        Disclosure, primary_key=True, on_delete=models.PROTECT, related_name="acknowledgement"
    )
    position = models.BigIntegerField(unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"acknowledged {self.disclosure_id}"
