"""Letters owed. A row is written in the transaction of its cause and sent later."""

from django.db import models


class Letter(models.Model):
    """One letter to one person for one cause. Its Message-ID never changes, so a repeat
    after a crash is recognisably the same letter. ``joined``: it had not left when there was
    more to tell, and what it says is in that later letter.

    ``about``: what it tells of. Letters about the same to one person are numbered by ``nth`` and
    leave in that order; empty where no order matters."""

    class State(models.TextChoices):
        WAITING = "waiting"
        SENDING = "sending"
        SENT = "sent"
        FAILED = "failed"
        RETURNED = "returned"
        JOINED = "joined"

    id = models.UUIDField(primary_key=True)
    kind = models.CharField(max_length=40)
    cause = models.UUIDField()
    recipient = models.UUIDField()
    to = models.EmailField(max_length=254)
    about = models.CharField(max_length=120, default="", blank=True)
    nth = models.PositiveIntegerField(default=0)
    context = models.JSONField()
    message_id = models.CharField(max_length=200, unique=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    created_at = models.DateTimeField()
    next_try_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
    attempts = models.PositiveIntegerField(default=0)
    sent_at = models.DateTimeField(null=True)
    joined_to = models.UUIDField(null=True)
    last_error = models.TextField(default="", blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "cause", "recipient"], name="one_letter_per_cause_and_person"
            )
        ]
        indexes = [
            models.Index(fields=["state", "next_try_at"], name="letter_waiting"),
            models.Index(
                fields=["recipient", "about", "nth"],
                name="letter_about",
                condition=~models.Q(about=""),
            ),
            models.Index(
                fields=["joined_to"], name="letter_joined", condition=~models.Q(joined_to=None)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"

    @property
    def undelivered(self) -> bool:
        """It did not reach anybody, and will not by itself."""
        return self.state in UNDELIVERED


UNDELIVERED = (Letter.State.FAILED, Letter.State.RETURNED)
UNSENT = (Letter.State.WAITING, Letter.State.SENDING)


class DeliveryReport(models.Model):
    """What a mail host said later of a letter that had been handed over."""

    letter = models.ForeignKey(Letter, on_delete=models.CASCADE, related_name="reports")
    at = models.DateTimeField()
    action = models.CharField(max_length=10)
    status = models.CharField(max_length=12)
    said = models.CharField(max_length=300)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["letter", "action", "status", "said"], name="one_report_of_each_kind"
            )
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.status}"
