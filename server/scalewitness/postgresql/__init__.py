"""Django's PostgreSQL, but for one thing: a commit says what is known of its outcome.

`settings.database` names this package as the engine.
"""

from django.db.utils import OperationalError


class CommitUnknown(OperationalError):
    """Whether a transaction is committed, and will stay so, cannot be told: the line broke before
    PostgreSQL's answer, nobody waited for it any longer, or PostgreSQL stopped waiting for its
    standbys. The same sent again, under the same ids, finds out."""
