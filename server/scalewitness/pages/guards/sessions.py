"""Browsers' sessions: Django's, in the database."""

from typing import Any

from django.contrib.sessions.backends.db import SessionStore as InDatabase

from scalewitness.replica import at_primary


class SessionStore(InDatabase):
    """Also a request that only reads may end a session, as where its password was changed: that is
    the primary's."""

    def save(self, must_create: bool = False) -> None:
        at_primary()
        super().save(must_create)

    def delete(self, session_key: Any = None) -> None:
        at_primary()
        super().delete(session_key)
