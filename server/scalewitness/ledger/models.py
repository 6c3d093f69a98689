"""The log as tables: entries, the one head row, and the erasable text beside them."""

from django.contrib.postgres.fields import ArrayField
from django.db import models


class AppendOnly(models.Model):
    """A table whose rows are never updated, deleted or truncated.

    ``migrate`` puts a trigger on every table of this kind and withholds the rights from
    the runtime role; there is nothing to remember when a new one is added.
    """

    class Meta:
        abstract = True


class Head(models.Model):
    """The one row that gives out positions, and the Merkle tree's right edge.

    Its row lock, held to commit, is what makes positions dense and gap-free for readers.
    A trigger lets ``size`` only grow.
    """

    id = models.SmallIntegerField(primary_key=True, default=1)
    size = models.BigIntegerField(default=0)
    frontier = models.BinaryField()
    root = models.BinaryField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_head")]

    def __str__(self) -> str:
        return f"head at {self.size}"


class Entry(AppendOnly):
    """One fact in the log. ``leaf`` holds the exact canonical bytes that were hashed."""

    position = models.BigIntegerField(primary_key=True)
    fact = models.UUIDField(unique=True)
    kind = models.CharField(max_length=40)
    by = models.UUIDField(null=True)
    device = models.UUIDField(null=True)
    about = models.UUIDField(null=True)
    claimed_at = models.DateTimeField()
    received_at = models.DateTimeField()
    flags = ArrayField(models.CharField(max_length=20), default=list)
    leaf = models.BinaryField()
    leaf_hash = models.BinaryField()

    class Meta:
        indexes = [
            models.Index(fields=["about", "position"], name="entry_about"),
            models.Index(fields=["kind", "position"], name="entry_kind"),
            models.Index(
                fields=["by", "position"],
                include=["about"],  # so that what someone stated of it is read here alone
                condition=models.Q(by__isnull=False),
                name="entry_by",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position} {self.kind}"


class Tile(AppendOnly):
    """256 neighbouring hashes of one level of the tree, once all of them exist, and the
    root over them. What a partial tile holds is read from the rows below it.

    ``layers`` has the 256 hashes and then those of the nodes above them, so that a proof
    reads single hashes; they are as good as random, so PostgreSQL keeps them uncompressed
    and can cut one out.
    """

    level = models.SmallIntegerField()
    index = models.BigIntegerField()
    layers = models.BinaryField()
    root = models.BinaryField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["level", "index"], name="one_tile")]

    def __str__(self) -> str:
        return f"tile {self.level}/{self.index}"


class SignedHead(models.Model):
    """The one row that remembers the largest tree ever signed.

    It is compared and swapped before each signature, and a trigger lets it only grow, so
    that no two signed checkpoints can contradict each other.
    """

    id = models.SmallIntegerField(primary_key=True, default=1)
    size = models.BigIntegerField(default=0)
    root = models.BinaryField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_signed_head")]

    def __str__(self) -> str:
        return f"signed at {self.size}"


class Checkpoint(AppendOnly):
    """A signed note over a head of the log, exactly as it was given out.

    ``key`` is the verifier key it was signed under; ``replaces`` the one that gave the log over to
    it by this very note (``domain/translog/key_changes``), None in all others.
    """

    size = models.BigIntegerField()
    root = models.BinaryField()
    key = models.CharField(max_length=400)
    note = models.TextField()
    signed_at = models.DateTimeField()
    replaces = models.CharField(max_length=400, null=True)  # noqa: DJ001  prepared queries use an
    # index over a few rows only where no value has to be compared

    class Meta:
        constraints = [models.UniqueConstraint(fields=["size", "key"], name="one_note_per_size")]
        indexes = [
            models.Index(
                fields=["size"],
                condition=models.Q(replaces__isnull=False),
                name="checkpoint_key_change",
            )
        ]

    def __str__(self) -> str:
        return f"checkpoint at {self.size}"


class GivenOut(AppendOnly):
    """The checkpoint over a tree of this size may be given out: its commit is known to have
    reached the standbys that PostgreSQL waits for, and it is remembered outside the database.

    A checkpoint can be in the database, and read there, without that: where the wait for a
    standby was cancelled. Fail over, and it was never there.
    """

    size = models.BigIntegerField(primary_key=True)

    def __str__(self) -> str:
        return f"given out at {self.size}"


class Fence(AppendOnly):
    """When the log was closed to everything new, and when it was opened again, and why.

    The last row counts: the log is open after a lifted one. ``size`` and ``root`` are the
    log's at that time; ``note`` is the outside checkpoint that a fence was lifted against, or
    that opening it was refused against.
    """

    class State(models.TextChoices):
        RAISED = "raised"
        LIFTED = "lifted"
        REFUSED = "refused"

    state = models.CharField(max_length=10, choices=State.choices)
    reason = models.TextField()
    at = models.DateTimeField()
    size = models.BigIntegerField()
    root = models.BinaryField()
    note = models.TextField(default="")

    def __str__(self) -> str:
        return f"fence {self.state} at {self.size}"


class Timeline(AppendOnly):
    """On which PostgreSQL server this log was last known to be whole: the ``system`` identifier of
    its database cluster, and the ``timeline`` that it writes. Whatever recovers from a backup,
    is promoted or is loaded from a dump into another cluster differs in one of them. ``size`` was
    the log's then.
    """

    system = models.CharField(max_length=20)
    timeline = models.BigIntegerField()
    size = models.BigIntegerField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"timeline {self.timeline} of {self.system}"


class Release(AppendOnly):
    """A release of this program that the tables were migrated for. ``oldest``: the earliest that
    may run beside it, such as the one before, until every process is upgraded."""

    version = models.CharField(max_length=20)
    oldest = models.CharField(max_length=20)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"release {self.version}"


class Succession(AppendOnly):
    """That the log under one name was closed, having lost what others have seen, and goes on
    under another; see ``domain/translog/successions``. ``id`` is the fact's."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    old_key = models.CharField(max_length=400)
    new_key = models.CharField(max_length=400)
    checkpoint = models.TextField()
    missing = models.BigIntegerField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"succession at {self.position}"


class Witness(AppendOnly):
    """A key that cosigns checkpoints of this log.

    ``key`` is its verifier key under a name that tells nothing of anyone; ``keeper`` whose
    it is, None for an outside witness that the operator named.
    """

    key = models.TextField(unique=True)
    keeper = models.UUIDField(null=True)
    registered_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["keeper"], name="witness_keeper")]

    def __str__(self) -> str:
        return f"witness {self.pk}"


class WitnessEnd(AppendOnly):
    """Its keeper revoked a witness key: what it says of trees of ``size`` or larger is worth
    nothing, and nothing more is taken from it. ``position``: of the fact."""

    witness = models.OneToOneField(
        Witness, to_field="key", primary_key=True, on_delete=models.PROTECT, related_name="end"
    )
    position = models.BigIntegerField(unique=True)
    size = models.BigIntegerField()

    def __str__(self) -> str:
        return f"end of witness {self.witness_id}"


class Cosignature(AppendOnly):
    """A witness's verified line under the checkpoint of ``size`` and ``root``.

    ``at`` is the time the witness signed for, ``received_at`` ours.
    """

    witness = models.ForeignKey(Witness, on_delete=models.PROTECT)
    size = models.BigIntegerField()
    root = models.BinaryField()
    line = models.TextField()
    at = models.DateTimeField()
    received_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["witness", "size"], name="one_cosignature")]
        indexes = [models.Index(fields=["size", "id"], name="cosignature_size")]

    def __str__(self) -> str:
        return f"cosignature at {self.size}"


class WitnessPush(models.Model):
    """How it goes with an outside witness that checkpoints are sent to.

    ``size`` is the tree it has of us, as far as we know; ``status`` its last answer (None:
    no answer), ``error`` what was wrong with it, empty when all is well.
    """

    key = models.TextField()
    url = models.CharField(max_length=500)
    size = models.BigIntegerField(default=0)
    next_try_at = models.DateTimeField()
    failures = models.PositiveIntegerField(default=0)
    status = models.PositiveSmallIntegerField(null=True)
    error = models.CharField(max_length=300, blank=True)
    tried_at = models.DateTimeField(null=True)
    cosigned_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["key", "url"], name="one_push_state")]

    def __str__(self) -> str:
        return f"push to {self.url}"


class Text(models.Model):
    """Free text of a fact. The log holds only its salted commitment, so the row may be
    deleted when the law asks for it; it can never be changed."""

    fact = models.UUIDField()
    field = models.CharField(max_length=20)
    salt = models.BinaryField()
    text = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fact", "field"], name="one_text_per_field")]

    def __str__(self) -> str:
        return f"{self.field} of {self.fact}"


class MapHead(models.Model):
    """The one row that says which entries the map of subjects has taken in, and its root then.
    Its row lock makes one process at a time extend the map; intake never waits for it."""

    id = models.SmallIntegerField(primary_key=True, default=1)
    size = models.BigIntegerField(default=0)
    root = models.BinaryField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_map_head")]

    def __str__(self) -> str:
        return f"map at {self.size}"


class MapNode(models.Model):
    """A node of the map's prefix tree. ``place`` is that of ``domain/translog/prefix_tree``, as a
    big-endian number; a leaf has its ``path``."""

    place = models.BinaryField(primary_key=True)
    hash = models.BinaryField()
    path = models.BinaryField(null=True)

    def __str__(self) -> str:
        return f"node of the map {bytes(self.place).hex()}"


class MapSubject(models.Model):
    """What entries are about, its path in the map with the proof of it, and how many entries the
    map has taken in, with the hash chained over them."""

    subject = models.UUIDField(primary_key=True)
    path = models.BinaryField()
    path_proof = models.BinaryField()
    count = models.BigIntegerField()
    chain = models.BinaryField()

    class Meta:
        indexes = [models.Index(fields=["path"], name="map_subject_path")]

    def __str__(self) -> str:
        return f"{self.subject} with {self.count} entries"


class StatedMap(AppendOnly):
    """A root of the map as the log states it; ``id`` is the fact's. In hexadecimal, as there."""

    id = models.UUIDField(primary_key=True)
    position = models.BigIntegerField(unique=True)
    root = models.CharField(max_length=64)
    key = models.CharField(max_length=64)

    def __str__(self) -> str:
        return f"map stated at {self.position}"
