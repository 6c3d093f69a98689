"""Calls, and the objections to them."""

from django.db import models

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import AppendOnly

ENDS = ("withdrawal", "set_aside", "refiled")
"""What takes a call out of the count of the animal it was made on."""
OF_IT = models.Q(withdrawal=None, refiled=None)
"""Calls that were not taken back and not filed wrongly: the animal was examined."""
WAITS = models.Q(waits=True, wait_ended=None)
COUNTS = models.Q(withdrawal=None, set_aside=None, refiled=None) & ~WAITS


class Call(AppendOnly):
    """One examiner's determination of one animal's sex on one occasion.

    ``by`` sent it; ``examiner`` made it (the same id unless it was reported for a
    veterinarian, laboratory or earlier keeper). ``body`` is the fact's body as logged.
    """

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    animal = models.ForeignKey(
        Animal, on_delete=models.PROTECT, related_name="calls", db_index=False
    )
    by = models.UUIDField()
    examiner = models.UUIDField(db_index=True)
    role = models.CharField(max_length=15)
    method = models.CharField(max_length=15)
    conclusion = models.CharField(max_length=12)
    examined_at = models.DateTimeField()
    received_at = models.DateTimeField()
    visit = models.UUIDField(null=True)
    stage = models.CharField(max_length=10)
    identity = models.CharField(max_length=12)
    blind = models.BooleanField()
    interested = models.BooleanField()
    anchored_to = models.CharField(max_length=6, null=True)  # noqa: DJ001  None: knew nothing
    footing = models.CharField(max_length=12, default="", db_default="")
    """Of whoever sent it, then; empty: from before that was asked."""
    waits = models.BooleanField(default=False, db_default=False)
    """It contradicted a verified sex without a footing, and does not count until the wait ends."""
    one_with = models.CharField(max_length=64, default="", db_default="")
    """Whoever made it counts as one with another examiner of the animal: a commitment to whom."""
    flags = models.JSONField(default=list)
    body = models.JSONField()
    refiles = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="refiled"
    )
    """The call, filed on another animal, that was of this one; its body is here again."""

    class Meta:
        indexes = [
            models.Index(fields=["animal", "by"], name="call_animal_by"),
            models.Index(
                fields=["received_at"], condition=models.Q(waits=True), name="call_that_waited"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.method}: {self.conclusion}"

    @property
    def over(self) -> bool:
        """Whether something took it out of the count; those were read with it."""
        return any(hasattr(self, one) for one in ENDS)

    @property
    def counts(self) -> bool:
        """As `COUNTS` has it; what ended it, and its wait, were read with it."""
        return not (self.over or self.waiting)

    @property
    def waiting(self) -> bool:
        """Whether it is left out of the count until somebody answers it."""
        return self.waits and not hasattr(self, "wait_ended") and not self.over


class WaitEnded(AppendOnly):
    """A newcomer's contrary call counts from the standing at ``position`` on."""

    call = models.OneToOneField(
        Call, primary_key=True, on_delete=models.PROTECT, related_name="wait_ended"
    )
    position = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.call_id} counts"


class Parted(AppendOnly):
    """Whoever made the call counts for themselves from the standing at ``position`` on."""

    call = models.OneToOneField(
        Call, primary_key=True, on_delete=models.PROTECT, related_name="parted"
    )
    position = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.call_id} is another's"


class Joined(AppendOnly):
    """Whoever made the call counts as one with another from the standing at ``position`` on."""

    call = models.OneToOneField(
        Call, primary_key=True, on_delete=models.PROTECT, related_name="joined"
    )
    position = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.call_id} is no other's"


class Withdrawal(AppendOnly):
    """The sender takes a call back. The call stays visible; it no longer counts."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    call = models.OneToOneField(Call, on_delete=models.PROTECT, related_name="withdrawal")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"withdrawal of {self.call_id}"


class Objection(AppendOnly):
    """Someone else disputes a call."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    call = models.ForeignKey(Call, on_delete=models.PROTECT, related_name="objections")
    by = models.UUIDField()
    ground = models.CharField(max_length=20)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"objection to {self.call_id}"


class Attestation(AppendOnly):
    """What somebody else said of a call that is its sender's word; or, ``by`` nobody, that the
    record judged anew what they had said. ``kind`` is the fact's,
    ``answer`` what whom it names answered, ``young`` the registered one that a witness saw where
    they saw no more, ``report`` what the record made of the call then."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    call = models.ForeignKey(Call, on_delete=models.PROTECT, related_name="attestations")
    by = models.UUIDField(null=True)
    kind = models.CharField(max_length=20)
    answer = models.CharField(max_length=10, null=True)  # noqa: DJ001  None: nothing was asked
    report = models.CharField(max_length=12)
    footing = models.CharField(max_length=12, default="", db_default="")
    """The best behind a confirmation, as the record then made it; empty: not asked."""
    young = models.UUIDField(null=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.kind} of {self.call_id}"


class PhotoComparison(AppendOnly):
    """Somebody laid the ``photo`` of a call beside an ``earlier`` one. ``stands``: what the
    record made of all that was said so of the call, then."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    call = models.ForeignKey(Call, on_delete=models.PROTECT, related_name="comparisons")
    by = models.UUIDField()
    photo = models.UUIDField()
    earlier = models.UUIDField()
    answer = models.CharField(max_length=7)
    stands = models.CharField(max_length=7)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"photos of {self.call_id}: {self.answer}"


class SetAside(AppendOnly):
    """A finding took a call out of the count. The call stays visible."""

    call = models.OneToOneField(
        Call, primary_key=True, on_delete=models.PROTECT, related_name="set_aside"
    )
    finding = models.UUIDField()
    position = models.BigIntegerField()

    def __str__(self) -> str:
        return f"{self.call_id} set aside"


class HeldCall(AppendOnly):
    """A call that reached us long after its visit ended, kept whole for the host; or a note that
    did, which shares the fate of the calls made under the same ``grant``."""

    id = models.UUIDField(primary_key=True)
    kind = models.CharField(max_length=20, default="call_made", db_default="call_made")
    grant = models.UUIDField(null=True)
    animal = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="held_calls")
    collection = models.UUIDField()
    by = models.UUIDField()
    device = models.UUIDField(null=True)
    received_at = models.DateTimeField()
    submission = models.JSONField()

    def __str__(self) -> str:
        return f"held {self.id}"

    @property
    def decision_made(self) -> bool | None:
        """Whether it was admitted by itself; None while it was not decided on."""
        return self.decision.admitted if hasattr(self, "decision") else None


class Seal(AppendOnly):
    """A held call's entry in the log is at ``position``, and ``salt`` opens what it commits to."""

    held = models.OneToOneField(
        HeldCall, primary_key=True, on_delete=models.PROTECT, related_name="seal"
    )
    position = models.BigIntegerField(unique=True)
    salt = models.BinaryField(max_length=32)

    def __str__(self) -> str:
        return f"sealed at {self.position}"


class HeldDecision(AppendOnly):
    """The host admitted a held call, or did not."""

    held = models.OneToOneField(
        HeldCall, primary_key=True, on_delete=models.PROTECT, related_name="decision"
    )
    position = models.BigIntegerField(unique=True)
    admitted = models.BooleanField()

    def __str__(self) -> str:
        return "admitted" if self.admitted else "not admitted"
