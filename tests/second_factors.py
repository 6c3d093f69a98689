"""A keeper's authenticator app and recovery codes, kept as a phone and a sheet of paper would."""

import hashlib
import hmac
import struct
import time
from base64 import b32decode, b32encode
from dataclasses import dataclass, field

from allauth.mfa.models import Authenticator

from scalewitness.people.models import Keeper
from scalewitness.sign_in.services.sealing import seal

SECRET = b32encode(b"12345678901234567890").decode()
"""That of the test vectors of RFC 6238."""


def code_of(secret: str, at: float) -> str:
    """RFC 6238 by hand: SHA-1, six digits, half a minute."""
    digest = hmac.new(b32decode(secret), struct.pack(">Q", int(at) // 30), hashlib.sha1).digest()
    start = digest[-1] & 15
    return f"{(int.from_bytes(digest[start : start + 4]) & 0x7FFFFFFF) % 10**6:06}"


@dataclass
class App:
    keeper: Keeper
    secret: str = SECRET
    recovery: list[str] = field(default_factory=list)

    @property
    def row(self) -> Authenticator:
        return Authenticator.objects.get(user=self.keeper, type="totp")

    def code(self) -> str:
        """One that is good now, whatever was used before: as if half a minute went by."""
        row = self.row
        row.data.pop("used", None)
        row.save()
        return self.same_code()

    def same_code(self) -> str:
        """What the app shows, used or not."""
        return code_of(self.secret, time.time())


def app_of(keeper: Keeper) -> App:
    """Set up, with recovery codes."""
    from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes

    data = {"secret": seal(SECRET)}
    Authenticator.objects.create(user=keeper, type="totp", data=data)
    return App(keeper, recovery=RecoveryCodes.activate(keeper).get_unused_codes())


WRONG = "000000"
