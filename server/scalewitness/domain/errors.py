"""One tree of refusals. Every refusal has a stable ``code`` that clients may rely on.

The edges translate a :class:`Refused` into RFC 9457 problem details or an exit code;
nothing else in the project decides on status numbers.
"""

from typing import Any, ClassVar


class Refused(Exception):
    """The record will not take this, and says why.

    ``code`` is stable and machine-readable, ``status`` the HTTP status it maps to,
    ``detail`` a sentence for a person, ``errors`` further places in the input as
    ``{"detail", "pointer"}`` (RFC 9457 extension member).
    """

    code: ClassVar[str] = "refused"
    status: ClassVar[int] = 422
    title: ClassVar[str] = "This cannot be accepted"

    def __init__(self, detail: str = "", *, pointer: str | None = None, **more: Any) -> None:
        super().__init__(detail or self.title)
        self.detail = detail or self.title
        self.errors = [{"detail": self.detail, "pointer": pointer}] if pointer is not None else []
        self.more = more

    def as_problem(self) -> dict[str, Any]:
        """The refusal as RFC 9457 members, ``code`` and any extension members included."""
        problem: dict[str, Any] = {
            "type": f"urn:scalewitness:problem:{self.code}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "code": self.code,
        }
        if self.errors:
            problem["errors"] = self.errors
        return problem | self.more


class Malformed(Refused):
    code, status, title = "malformed", 400, "The input could not be read"


class TooLarge(Refused):
    code, status, title = "too_large", 413, "The input is too large"


class WrongShape(Refused):
    code, title = "wrong_shape", "The input does not have the expected shape"


class UnknownKind(Refused):
    code, title = "unknown_kind", "No fact of this kind can be sent"


class OutOfRange(Refused):
    code, title = "out_of_range", "A value lies outside what is possible"


class UnusualDepth(Refused):
    """Sent again with ``unusual`` it is taken."""

    code, title = "unusual_depth", "No source gives such a depth, and the call does not insist"


class FutureDate(Refused):
    code, title = "future_date", "The date lies in the future"


class IdReused(Refused):
    code, title = "id_reused", "This id already stands for something else"


class NotFound(Refused):
    """Also the answer for what the actor may not see: the two must look alike."""

    code, status, title = "not_found", 404, "There is nothing here for you"


class NotAllowed(Refused):
    code, status, title = "not_allowed", 403, "You may not do this"


class NotNow(Refused):
    """The step does not follow from the state the thing is in."""

    code, status, title = "not_now", 409, "This step cannot be taken now"


class StandingMoved(Refused):
    """The standing is no longer what the buyer was shown (promise 5)."""

    code, status, title = "standing_moved", 409, "The record has changed since this was shown"


class VersionMissing(Refused):
    code, status, title = "version_missing", 428, "Say which version you are editing (If-Match)"


class VersionStale(Refused):
    code, status, title = "version_stale", 412, "Someone edited this since you read it"


class NotTheFile(Refused):
    """The bytes of a photo are not the file its fact names, or hold more than a picture."""

    code, title = "not_the_file", "This is not the file, or not a plain picture"


class BadSignature(Refused):
    code, title = "bad_signature", "The signature does not fit"


class SignatureRequired(Refused):
    """The keeper ruled that nothing counts in their name but what a device of theirs signed."""

    code, status, title = "signature_required", 403, "This takes a signature of the keeper's device"


class KeyWaits(Refused):
    """No device of the keeper's endorsed the key, and its time has not come. ``until``: when it
    does (RFC 3339)."""

    code, status, title = "key_waits", 403, "This device's key does not count yet"


class LinkGone(Refused):
    """An emailed link that expired, was revoked or never was: one answer for all three."""

    code, status, title = "link_gone", 404, "This link no longer works"


class IdempotencyKeyMissing(Refused):
    """A POST that carries neither the fact's own id nor an Idempotency-Key."""

    code, status, title = "idempotency_key_missing", 400, "Say by what to know a repeat"


class WrongCredentials(Refused):
    """Wrong address or wrong password: one answer for both."""

    code, status, title = "wrong_credentials", 401, "Address or password is wrong"


class SecondFactorRequired(Refused):
    """The password alone does not open this account. ``kinds`` says what would beside it."""

    code, status = "second_factor_required", 401
    title = "The password alone is not enough here: a second factor is needed too"


class SecondFactorWrong(Refused):
    """Not a code of this keeper's, or one that was used already: one answer for both."""

    code, status, title = "second_factor_wrong", 401, "The code is wrong or was used already"


class SecondFactorNotFresh(SecondFactorRequired):
    """What is grave needs a second factor given just now; a device's token is none."""

    status = 403
    title = "This needs a fresh code of your second factor"


class SecondFactorNotTaken(SecondFactorWrong):
    """As `SecondFactorWrong`, where a token is right all the same."""

    status = 403


class SecondFactorMissing(Refused):
    """This record's operator asks every keeper for a second factor."""

    code, status = "second_factor_missing", 403
    title = "A second factor must be set up first, on the site's pages"


class TooManyAttempts(Refused):
    """``retry_after``: seconds to wait."""

    code, status, title = "throttled", 429, "Too many failed attempts; wait before the next one"

    def __init__(self, detail: str = "", *, retry_after: int) -> None:
        super().__init__(detail)
        self.retry_after = retry_after


class HandOverRefused(Refused):
    """No token for a device that asked for approval on a page. ``error`` is the same code under
    the name that RFC 6749, 5.2 gives it."""

    status = 400

    def as_problem(self) -> dict[str, Any]:
        return super().as_problem() | {"error": self.code}


class AuthorizationPending(HandOverRefused):
    code, title = "authorization_pending", "Nobody has confirmed this device yet"


class SlowDown(HandOverRefused):
    code, title = "slow_down", "Asked too soon: leave five seconds more between questions"


class AccessDenied(HandOverRefused):
    code, title = "access_denied", "This device was refused on the page"


class ExpiredToken(HandOverRefused):
    code, title = "expired_token", "The code has expired or was used: begin again"


class LogContradicted(Refused):
    code, status = "log_contradicted", 503
    title = (
        "The log does not continue what was signed before; nothing is signed until it is clear why"
    )


class NotShownWhole(Refused):
    """Nothing from outside shows that a copy of the log lacks nothing."""

    code, status, title = "not_shown_whole", 409, "This copy is not shown to be whole"


class Fenced(Refused):
    """The log takes nothing until its operator has adopted it; reading goes on."""

    code, status = "fenced", 503
    title = (
        "The record can only be read for now: it was restored from a backup or does not continue "
        "what was signed, and its operator has to check it. Nothing was recorded; keep what you "
        "have and send it again later."
    )


class AddressUnconfirmed(Refused):
    """Of all that is sent, never of an item: it is taken unchanged once the address is confirmed.

    Whoever signs up with somebody else's address must not speak in that person's name.
    """

    code, status = "address_unconfirmed", 403
    title = (
        "Confirm your address first, by the link in the letter sent to it. Nothing was recorded; "
        "keep what you have and send it then."
    )


class Busy(Refused):
    """Too much is going on at once; nothing was done. ``retry_after``: seconds to wait."""

    code, status = "busy", 503
    title = "The record has too much to do just now; nothing was recorded, send it again"
    retry_after: ClassVar[int] = 2


class OutcomeUnknown(Refused):
    """Of all that is sent: whether it is recorded, and stays so, cannot be told yet. Neither an
    acceptance nor a refusal. ``retry_after``: seconds to wait."""

    code, status = "outcome_unknown", 503
    title = (
        "The record cannot tell yet whether this was recorded; keep what you have, and send the "
        "same again under the same ids"
    )
    retry_after: ClassVar[int] = 2


class FilesAway(Busy):
    """Where photos' files are kept does not answer, or not rightly; they are not gone."""

    title = "The photo cannot be shown just now; it is kept, ask again in a while"
    retry_after = 30

    def __init__(self, why: str = "") -> None:
        """``why`` is the operator's to read."""
        super().__init__()
        self.why = why


class Resync(Refused):
    """A place in the feed of changes that is not of this log, or not any more."""

    code, status = "resync", 410
    title = "The feed cannot go on from here: begin again without a cursor"


class CursorOfAnotherLog(Refused):
    """A place in the feed of changes of a log that never was this one. ``cursor_origin`` and
    ``log_origin``: whose it is, and which log is asked."""

    code, status = "cursor_of_another_log", 409
    title = "This place in a feed of changes is another log's"

    @staticmethod
    def between(theirs: str, ours: str) -> "CursorOfAnotherLog":
        return CursorOfAnotherLog(
            f"The cursor is a place in the log {theirs}, and this is the log {ours}: it leads "
            "nowhere here. Ask the server that gave it, or begin here without a cursor.",
            cursor_origin=theirs,
            log_origin=ours,
        )


class CheckpointUnknown(Refused):
    code, title = "checkpoint_unknown", "The log vouched for no such checkpoint"


class WitnessUnknown(Refused):
    """The signature line is of another key than the one it is said to be of."""

    code, title = "witness_unknown", "The line is of another key"
