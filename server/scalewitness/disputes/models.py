"""Open disagreements about an animal's sex, and their findings."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly
from scalewitness.sales.models import Sale


class Dispute(AppendOnly):
    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="disputes")
    sale = models.ForeignKey(Sale, null=True, on_delete=models.PROTECT, related_name="disputes")
    ground = models.CharField(max_length=20)
    cause = models.UUIDField(null=True)
    by = models.UUIDField(null=True)
    opened_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"dispute {self.id}"


class Statement(AppendOnly):
    """What a party had to say; the words are kept apart, so that they can be erased."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    dispute = models.ForeignKey(Dispute, on_delete=models.PROTECT, related_name="statements")
    by = models.UUIDField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"statement {self.id}"


class Finding(AppendOnly):
    """The recorded outcome; it closes the dispute."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    dispute = models.OneToOneField(Dispute, on_delete=models.PROTECT, related_name="finding")
    by = models.UUIDField()
    outcome = models.CharField(max_length=20)
    remedy = models.CharField(max_length=10)
    set_aside = models.JSONField(default=list)
    basis = models.CharField(max_length=12, default="")
    document = models.CharField(max_length=64, default="")
    proposed = models.JSONField(default=list, db_default=models.Value([], models.JSONField()))
    arbiter = models.UUIDField(null=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.outcome


class FindingAnswer(AppendOnly):
    """Somebody other than its recorder agrees to a finding, or does not; ``set_aside``: the calls
    that this took out of the count."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, related_name="answers")
    by = models.UUIDField()
    agrees = models.BooleanField()
    set_aside = models.JSONField(default=list)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"answer to {self.finding_id}"
