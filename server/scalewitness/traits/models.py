"""What people stated of the traits of animals, and what they took back."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly


class TraitStatement(AppendOnly):
    """One person's statement of one trait, as the fact has it; free words are texts of the fact."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(
        Animal, on_delete=models.PROTECT, related_name="trait_statements", db_index=False
    )
    by = models.UUIDField()
    at = models.DateTimeField()
    says = models.CharField(max_length=13)
    basis = models.CharField(max_length=7)
    locus = models.CharField(max_length=60, blank=True)
    """Empty: the trait is in the words of whoever stated it."""
    allele = models.CharField(max_length=60, blank=True)
    chance = models.CharField(max_length=8, blank=True)

    class Meta:
        indexes = [models.Index(fields=["animal", "-position"], name="traits_of_animal")]

    def __str__(self) -> str:
        return f"{self.says} {self.locus}"


class TraitWithdrawal(AppendOnly):
    """Whoever stated it took it back. The statement stays visible."""

    statement = models.OneToOneField(
        TraitStatement, on_delete=models.PROTECT, related_name="withdrawal"
    )
    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"withdrawal of {self.statement_id}"


class ClaimChange(AppendOnly):
    """A claim fell, or stands again, from ``position`` on; the latest counts."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    statement = models.ForeignKey(
        TraitStatement, on_delete=models.PROTECT, related_name="changes", db_index=False
    )
    fell = models.BooleanField()
    chance = models.CharField(max_length=8, blank=True)
    """Empty: its parents are proved no more."""
    cause = models.UUIDField()

    class Meta:
        indexes = [models.Index(fields=["statement", "-position"], name="claim_latest")]

    def __str__(self) -> str:
        return f"{self.statement_id} {'fell' if self.fell else 'stands again'}"
