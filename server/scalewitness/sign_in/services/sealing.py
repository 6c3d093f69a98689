"""Secrets of second factors rest sealed: a copy of the database alone does not give them."""

from base64 import urlsafe_b64encode

from cryptography.fernet import Fernet, MultiFernet
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

PURPOSE = b"scalewitness.second_factor"


def seal(text: str) -> str:
    """Encrypted and authenticated (Fernet) under a key made from ``SECRET_KEY``."""
    return _box().encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """What was sealed, also under an earlier key of ``SECRET_KEY_FALLBACKS``.

    Raises:
        cryptography.fernet.InvalidToken: it was sealed under none of them.
    """
    return _box().decrypt(sealed.encode()).decode()


def reseal(sealed: str) -> str:
    """The same under today's key, so that earlier keys can then be dropped."""
    return _box().rotate(sealed.encode()).decode()


def _box() -> MultiFernet:
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return MultiFernet([Fernet(_key(one)) for one in keys])


def _key(secret: str) -> bytes:
    derived = HKDF(SHA256(), length=32, salt=None, info=PURPOSE).derive(secret.encode())
    return urlsafe_b64encode(derived)
