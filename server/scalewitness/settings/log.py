"""The log: its keys, its memory, what it promises, and who watches it."""

import ssl
from ipaddress import ip_address
from pathlib import Path
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

from scalewitness.domain.translog.keys import BadKey, read_signer, read_verifier
from scalewitness.domain.translog.vrf_signing import BadMapKey, read_vrf_signer
from scalewitness.domain.translog.witnessing import read_target
from scalewitness.settings.environment import DEMO, env, required

LOG_SIGNING_KEY = required("LOG_SIGNING_KEY")
"""The log's private key, ``PRIVATE+KEY+<origin>+<ID>+<base64>`` (C2SP signed-note); its name
is the log's origin. ``scalewitness-server new_log_key ORIGIN`` makes one."""
LOG_NEXT_KEY = env.str("LOG_NEXT_KEY", default="")
"""The private key that the log is to be given over to, under the same name, while it is: every
process has it before ``python -m scalewitness change_log_key``."""
LOG_RETIRED_KEYS = env.list("LOG_RETIRED_KEYS", default=[])
"""Verifier keys the log signed under before, so that older receipts can still be checked."""
LOG_KNOWN_ORIGINS = env.list("LOG_KNOWN_ORIGINS", default=[])
"""Verifier keys of other servers' logs that the operator got from somebody they trust, with commas
between them. What is quoted of another log is shown as of a known one under these alone."""
LOG_MAP_KEY = required("LOG_MAP_KEY")
"""The private key that the map of subjects is blinded under: RSA, in base64 of PKCS #8. It stays
for as long as the log keeps its name. ``scalewitness-server new_log_key ORIGIN`` makes one too."""
LOG_MEMORY = env.str("LOG_MEMORY", default="")
"""What remembers the latest signed checkpoint outside the database, so that a database set back to
an earlier day is noticed, and who may sign. Shared by every process that signs; empty: none. A
file, where all of them are on one host; where they are not, etcd, as in
``etcds://db1:2379,db2:2379,db3:2379/record``; ``etcd://``, without TLS, on this host alone."""
LOG_MEMORY_CA = env.str("LOG_MEMORY_CA", default="")
"""The file of the certificates that vouch for etcd's; empty: those the system trusts."""
LOG_MEMORY_CERTIFICATE = env.str("LOG_MEMORY_CERTIFICATE", default="")
"""The file of the certificate shown to etcd, which knows by it who may write there."""
LOG_MEMORY_KEY = env.str("LOG_MEMORY_KEY", default="")
"""The file of that certificate's private key, where it does not stand in the same file."""
LOG_MEMORY_PLAIN = env.bool("LOG_MEMORY_PLAIN", default=False)
"""Lets ``etcd://`` name other hosts, on a network where nobody else is: whoever is there can write,
and so close the log or make it forget."""
try:
    _signs = read_signer(LOG_SIGNING_KEY)
    if LOG_NEXT_KEY and read_signer(LOG_NEXT_KEY).name != _signs.name:
        raise BadKey("the next key is of another log")
    for _other in (*LOG_RETIRED_KEYS, *LOG_KNOWN_ORIGINS):
        read_verifier(_other)
except BadKey as fault:
    raise ImproperlyConfigured(
        f"LOG_SIGNING_KEY, LOG_NEXT_KEY, LOG_RETIRED_KEYS or LOG_KNOWN_ORIGINS: {fault}"
    ) from None
try:
    read_vrf_signer(LOG_MAP_KEY)
except BadMapKey as fault:
    raise ImproperlyConfigured(f"LOG_MAP_KEY: {fault}") from None
if LOG_MEMORY and "://" not in LOG_MEMORY and not Path(LOG_MEMORY).parent.is_dir():
    raise ImproperlyConfigured(f"LOG_MEMORY: there is no folder {Path(LOG_MEMORY).parent}")


def _is_here(member: str) -> bool:
    host = urlsplit(f"//{member}").hostname or ""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _check_etcd() -> None:
    """Raises ImproperlyConfigured where it would be spoken to in the clear, or not at all."""
    scheme, separator, rest = LOG_MEMORY.partition("://")
    if separator and scheme not in {"etcd", "etcds"}:
        raise ImproperlyConfigured("LOG_MEMORY: a file, etcds:// or etcd://")
    members = rest.partition("/")[0].split(",")
    if scheme == "etcd" and not LOG_MEMORY_PLAIN and not all(map(_is_here, members)):
        raise ImproperlyConfigured(
            "LOG_MEMORY: etcd:// on another host is spoken to in the clear, and whoever is between "
            "can write there: use etcds://, or set LOG_MEMORY_PLAIN where nobody is"
        )
    if scheme == "etcd" and (LOG_MEMORY_CA or LOG_MEMORY_CERTIFICATE or LOG_MEMORY_KEY):
        raise ImproperlyConfigured("LOG_MEMORY_CA and its like are for etcds://, which speaks TLS")
    if scheme != "etcds":
        return  # a drill's is a file, whatever else the service's settings say
    if LOG_MEMORY_KEY and not LOG_MEMORY_CERTIFICATE:
        raise ImproperlyConfigured("LOG_MEMORY_KEY is that of LOG_MEMORY_CERTIFICATE: give both")
    try:
        trusts = ssl.create_default_context(cafile=LOG_MEMORY_CA or None)
        if LOG_MEMORY_CERTIFICATE:
            trusts.load_cert_chain(LOG_MEMORY_CERTIFICATE, LOG_MEMORY_KEY or None)
    except OSError as fault:  # also where they are no certificates, or the key is another's
        raise ImproperlyConfigured(
            f"LOG_MEMORY_CA, LOG_MEMORY_CERTIFICATE or LOG_MEMORY_KEY cannot be used: {fault}"
        ) from None


_check_etcd()
LOG_SIGNS_WITHIN = env.int("LOG_SIGNS_WITHIN", default=86_400)
"""Seconds within which the log signs a newer state, also where nothing came in: published, so that
readers can tell an old state from a log that had nothing to say."""
if LOG_SIGNS_WITHIN < 60:
    raise ImproperlyConfigured("LOG_SIGNS_WITHIN: at least 60 seconds")
LOG_WITNESSES = env.list("LOG_WITNESSES", default=[])
"""Outside witnesses (C2SP tlog-witness) that checkpoints are sent to: ``KEY URL``, with commas
between them. Only https, but in the demo."""
try:
    _addresses = [read_target(_witness).url for _witness in LOG_WITNESSES]
except BadKey as fault:
    raise ImproperlyConfigured(f"LOG_WITNESSES: {fault}") from None
if not DEMO and not all(_url.startswith("https://") for _url in _addresses):
    raise ImproperlyConfigured("LOG_WITNESSES: a witness is spoken to over https")
