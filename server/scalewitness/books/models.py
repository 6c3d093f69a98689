"""The lines of the books, and what each closing came to."""

from django.db import models

from scalewitness.ledger.models import AppendOnly


class BookLine(AppendOnly):
    """That a row stood in a table when its book was closed: the ``nth`` line of that ``book``,
    counted from 0. ``thing`` is the row's primary key, ``state`` tells the states apart that such
    a row goes through, empty where it never changes. ``commitment`` is to what it says."""

    book = models.CharField(max_length=30)
    nth = models.BigIntegerField()
    thing = models.CharField(max_length=40)
    state = models.CharField(max_length=20, default="", blank=True)
    commitment = models.BinaryField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["book", "nth"], name="one_line_at_each_place"),
            models.UniqueConstraint(fields=["book", "thing", "state"], name="one_line_of_a_state"),
        ]

    def __str__(self) -> str:
        return f"{self.book} {self.nth}"


class BookSalt(models.Model):
    """What hides a row behind its line's commitment. It goes when what the row said is to be
    known no more; it can never be changed."""

    line = models.OneToOneField(
        BookLine, primary_key=True, on_delete=models.PROTECT, related_name="secret"
    )
    salt = models.BinaryField()

    def __str__(self) -> str:
        return f"salt of {self.line_id}"


class BookClosing(AppendOnly):
    """What a ``books_closed`` fact commits to: of each book how many lines it had, and their
    chain, in hexadecimal."""

    position = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    books = models.JSONField()

    def __str__(self) -> str:
        return f"books closed at {self.position}"
