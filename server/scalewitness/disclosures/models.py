"""Notices owed to people who relied on a verified sex, or on a claimed trait, that no longer
stands."""

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
    claim = models.UUIDField(null=True)
    """The statement of a trait that it is about; None: it is about the sex."""
    chance = models.CharField(max_length=8, default="", db_default="")
    """Of a claim that fell, that it is true all the same."""

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["sale", "animal", "to", "cause"],
                condition=models.Q(claim=None),
                name="one_disclosure_per_cause",
            ),
            models.UniqueConstraint(
                fields=["sale", "to", "cause", "claim"], name="one_disclosure_per_claim"
            ),
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
