"""What an animal's standing is worked out by, and the standing after each change.

The tables were made by ``calls`` and keep their names there, which reports of ``fsck`` give.
"""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly


class StatedLinkage(AppendOnly):
    """What the animal's keeper stated of a trait inherited with sex; the latest counts.
    ``body`` is the fact's body as logged."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="linkages")
    by = models.UUIDField()
    at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        db_table = "calls_statedlinkage"
        indexes = [models.Index(fields=["animal", "-position"], name="linkage_latest")]

    def __str__(self) -> str:
        return f"linkage stated of {self.animal_id}"


class Standing(AppendOnly):
    """An animal's standing from ``position`` on."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(
        Animal, on_delete=models.PROTECT, related_name="standings", db_index=False
    )
    label = models.CharField(max_length=16)
    p_male = models.CharField(max_length=8)
    p_male_pessimistic = models.CharField(max_length=8)
    parameters = models.CharField(max_length=60)
    policy = models.CharField(max_length=60)
    examiner_records = models.CharField(max_length=60)
    verified_with = models.CharField(max_length=60, default="", db_default="")
    """The older numbers by which its sex is verified; empty where those named are."""
    known_elsewhere = models.BooleanField(default=False, db_default=False)
    """Whether its transponder is another record's."""
    calls_elsewhere = models.PositiveIntegerField(default=0, db_default=0)
    """How many calls of other records of the same snake are counted with its own."""

    class Meta:
        db_table = "calls_standing"
        indexes = [models.Index(fields=["animal", "-position"], name="standing_latest")]

    def __str__(self) -> str:
        return self.label


class AdoptedPolicy(AppendOnly):
    """A version of the labelling policy, in force from its position on."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    version = models.CharField(max_length=60, unique=True)
    parameters = models.CharField(max_length=60)
    thresholds = models.JSONField()

    class Meta:
        db_table = "calls_adoptedpolicy"

    def __str__(self) -> str:
        return self.version


class AdoptedNumbers(AppendOnly):
    """Numbers that the record learned, in force from their position on; as the fact has them."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    version = models.CharField(max_length=60, unique=True)
    learned_until = models.BigIntegerField()
    kept = models.CharField(max_length=8)
    numbers = models.JSONField()

    def __str__(self) -> str:
        return self.version


class NumbersReview(models.Model):
    """How far animals were looked through for labels that adopted numbers change: those with
    ids up to ``reached``. No fact: it only saves looking twice."""

    adoption = models.OneToOneField(AdoptedNumbers, on_delete=models.PROTECT, primary_key=True)
    reached = models.UUIDField(null=True)
    finished = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"review under {self.adoption_id}"


class NumbersCandidate(models.Model):
    """What was learned on some night, from the first ``learned_until`` entries, to be drawn
    towards the numbers of ``builds_on``. No fact; ``numbers`` as a fact would have them."""

    id = models.UUIDField(primary_key=True)
    made_at = models.DateTimeField(db_index=True)
    learned_until = models.BigIntegerField()
    builds_on = models.CharField(max_length=60)
    numbers = models.JSONField()

    def __str__(self) -> str:
        return f"learned until {self.learned_until}"


class ExaminerRecord(AppendOnly):
    """How an examiner's blind calls fared on settled animals, from ``position`` on."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    examiner = models.UUIDField(db_index=True)
    role = models.CharField(max_length=15)
    counts = models.JSONField()
    hosts = models.PositiveIntegerField(default=0, db_default=0)

    class Meta:
        db_table = "calls_examinerrecord"

    def __str__(self) -> str:
        return f"record of {self.examiner}"
