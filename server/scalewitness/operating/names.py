"""What DNS says of who may send letters for the domain of ``MAIL_FROM``."""

import re
import socket
from collections.abc import Iterator
from email import message_from_bytes
from email.message import Message
from email.policy import compat32
from email.utils import parseaddr

import dns.exception
import dns.resolver
import dns.reversename
from django.conf import settings
from dns.rdtypes.ANY.TXT import TXT

from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result


def names(asked: Asked) -> Iterator[Result]:
    """SPF (RFC 7208), DMARC (RFC 7489), DKIM (RFC 6376), and the sending host's own name."""
    sender = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    envelope = settings.MAIL_RETURN_PATH.rpartition("@")[2]
    look = _Looking(asked.name_server)
    letter = (
        message_from_bytes(asked.letter.read_bytes(), policy=compat32) if asked.letter else None
    )
    try:
        yield _spf(look, envelope)
        yield _dmarc(look, sender)
        yield from _dkim(look, sender, asked.dkim_selector, letter)
        yield _host_name(look)
    except (dns.exception.DNSException, OSError) as fault:
        yield Result("names", "unsure", f"no name server answers: {fault}", "give --name-server IP")
    if letter is None:
        words = "what a mail host far away makes of a letter"
        yield Result("verdict", "unsure", words, "save one as it arrived, and give --letter FILE")
    else:
        yield _verdict(letter)


class _Looking:
    def __init__(self, server: str) -> None:
        self._resolver = dns.resolver.Resolver(configure=not server)
        self._resolver.lifetime = 8
        if server:
            address, _, port = server.partition(":")
            self._resolver.nameservers, self._resolver.port = [address], int(port or 53)

    def texts(self, name: str) -> list[str]:
        found = self._answers(name, "TXT")
        return [b"".join(one.strings).decode() for one in found if isinstance(one, TXT)]

    def addresses(self, name: str) -> list[str]:
        return [str(one) for kind in ("A", "AAAA") for one in self._answers(name, kind)]

    def pointers(self, address: str) -> list[str]:
        name = dns.reversename.from_address(address)
        return [str(one).rstrip(".") for one in self._answers(str(name), "PTR")]

    def _answers(self, name: str, kind: str) -> list[dns.rdata.Rdata]:
        try:
            return list(self._resolver.resolve(name, kind))
        except (dns.resolver.NXDOMAIN, dns.resolver.NoAnswer):
            return []


def _spf(look: _Looking, domain: str) -> Result:
    found = [one for one in look.texts(domain) if one.lower().split(" ")[0] == "v=spf1"]
    if len(found) != 1:
        words = f"{domain} has {len(found)} records, and one is needed"
        return Result("spf", "wrong", words, f'TXT {domain} "v=spf1 mx a:YOUR-MAIL-HOST -all"')
    if re.search(r"(^|\s)\+?all(\s|$)", found[0]):
        return Result("spf", "wrong", f"{found[0]}: anybody may send", "end it with -all or ~all")
    words = f"{domain}: {found[0]}; whether it names your mail host is not tested"
    return Result("spf", "right", words)


def _dmarc(look: _Looking, domain: str) -> Result:
    parents = {domain, ".".join(domain.split(".")[-2:])}  # mostly what somebody registered
    found = [one for name in parents for one in look.texts(f"_dmarc.{name}")]
    policies = [one for one in found if one.replace(" ", "").startswith("v=DMARC1;")]
    if not policies:
        todo = f'TXT _dmarc.{domain} "v=DMARC1; p=quarantine; rua=mailto:YOUR-ADDRESS"'
        return Result("dmarc", "wrong", f"{domain} has no record", todo)
    return Result("dmarc", "right", policies[0])


def _dkim(look: _Looking, domain: str, selector: str, letter: Message | None) -> Iterator[Result]:
    pairs = [(selector, domain)] if selector else []
    for header in letter.get_all("DKIM-Signature", []) if letter else []:
        tags = dict(re.findall(r"(?:^|;)\s*([a-z]+)\s*=\s*([^;\s]+)", str(header)))
        pairs.append((tags.get("s", ""), tags.get("d", "")))
    if letter is not None and not any(_aligned(domain, signer) for _, signer in pairs):
        words = f"no signature of {domain} is on the letter"
        yield Result("dkim", "wrong", words, "have the mail host sign with DKIM")
    elif not pairs:
        words = "under which name the mail host's key stands is not known"
        yield Result("dkim", "unsure", words, "give --dkim-selector, or --letter")
    for chosen, signer in pairs:
        keys = [one for one in look.texts(f"{chosen}._domainkey.{signer}") if "p=" in one]
        if keys and re.search(r"p=[A-Za-z0-9+/]", keys[0]):
            yield Result("dkim", "right", f"{chosen}._domainkey.{signer} has a key")
        else:
            words = f"{chosen}._domainkey.{signer} has no key"
            yield Result("dkim", "wrong", words, "publish the mail host's public key there")


def _aligned(domain: str, signer: str) -> bool:
    """Whether one is the other or lies below it: nearly DMARC's relaxed alignment, which goes by
    the domain that somebody registered."""
    return f".{domain}".endswith(f".{signer}") or f".{signer}".endswith(f".{domain}")


def _host_name(look: _Looking) -> Result:
    """Of the host that letters are given to; who sends them on from there is not known."""
    host = str(settings.EMAIL_HOST)
    if host in {"localhost", "127.0.0.1", "::1"}:
        host = socket.getfqdn()
    addresses = look.addresses(host)
    for address in addresses:
        pointers = look.pointers(address)
        if pointers and address in look.addresses(pointers[0]):
            return Result("ptr", "right", f"{address} is {pointers[0]}, and that is {address}")
    if not addresses:
        words = f"{host} has no address in DNS: which host sends is not known"
        return Result("ptr", "unsure", words, "its address must lead to its name and back")
    words = f"{', '.join(addresses)} of {host} has no name that leads back to it"
    return Result("ptr", "wrong", words, "have whoever gave you the address enter one")


def _verdict(letter: Message) -> Result:
    """By the host that took the letter in, in its own header (RFC 8601)."""
    header = " ".join(str(letter.get("Authentication-Results", "")).split())
    found = dict(re.findall(r"\b(spf|dkim|dmarc)=(\w+)", header))
    wanted = ("spf", "dkim", "dmarc")
    words = ", ".join(f"{name} {found.get(name, 'not judged')}" for name in wanted)
    if not found:
        return Result("verdict", "unsure", "the letter bears none", "send one to another mail host")
    if all(found.get(name) == "pass" for name in wanted):
        return Result("verdict", "right", words)
    return Result("verdict", "wrong", words, "put right what did not pass")
