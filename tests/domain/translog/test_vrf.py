"""The verifiable random function, against values from outside."""

import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.rsa import generate_private_key
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from django.conf import settings

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.vrf import EXPONENT, VrfKey, output_of, read_key, to_certify
from scalewitness.domain.translog.vrf_signing import (
    BadMapKey,
    read_vrf_signer,
)
from scalewitness.setting_up.keys import fresh_map_key

VECTORS = json.loads((Path("tests") / "vectors" / "rsa_fdh_vrf.json").read_text())
"""Of an executable specification by others, see its source line."""
SIGNER = read_vrf_signer(settings.LOG_MAP_KEY)


@pytest.mark.parametrize("vector", VECTORS["vectors"], ids=lambda one: one["alpha"] or "empty")
def test_a_proof_is_verified_as_by_others(vector: dict[str, str]) -> None:
    key = VrfKey(int(VECTORS["n"], 16))
    alpha, proof = bytes.fromhex(vector["alpha"]), bytes.fromhex(vector["pi"])
    found = key.output(proof, alpha)
    assert found is not None
    assert found.hex() == vector["beta"]
    assert key.output(proof, alpha + b"\x00") is None
    assert key.output(proof[:-1] + bytes([proof[-1] ^ 1]), alpha) is None


def test_what_is_proved_here_is_the_root_of_what_others_hash() -> None:
    """Proving is exact: the private exponent gives the one number whose power is verified above."""
    for alpha in (b"", b"\x72", b"snake" * 100):
        proof = SIGNER.prove(alpha)
        assert SIGNER.key.output(proof, alpha) == output_of(proof)
        assert SIGNER.prove(alpha) == proof, "there is one proof"
    assert read_key(SIGNER.key.to_bytes()) == SIGNER.key


@pytest.mark.parametrize(
    "change",
    [
        lambda proof, n: proof[1:],
        lambda proof, n: b"\x00" + proof,
        lambda proof, n: (int.from_bytes(proof, "big") + n).to_bytes(len(proof) + 1, "big"),
        lambda proof, n: (n - int.from_bytes(proof, "big")).to_bytes(len(proof), "big"),
        lambda proof, n: bytes(len(proof)),
    ],
    ids=["shorter", "longer", "the same number once more round", "negative", "nought"],
)
def test_a_proof_has_one_spelling(change) -> None:  # type: ignore[no-untyped-def]
    proof = SIGNER.prove(b"snake")
    assert SIGNER.key.output(change(proof, SIGNER.key.modulus), b"snake") is None


def test_a_key_shows_that_its_proofs_are_unique() -> None:
    roots = SIGNER.certificate
    assert SIGNER.key.is_certified(roots)
    assert not SIGNER.key.is_certified(roots[:-1])
    assert not SIGNER.key.is_certified([*roots[:-1], roots[0]])
    assert not VrfKey(SIGNER.key.modulus + 2).is_certified(roots)
    assert not VrfKey(int(VECTORS["n"], 16)).is_certified(roots)


def test_a_key_under_which_a_path_has_many_proofs_cannot_show_that() -> None:
    """Where 65,537 divides p - 1, a number has 65,537 roots or none: whoever has such a key could
    show one animal at several places of the map."""
    p = next(one for one in range(2**40 * EXPONENT + 1, 2**60, EXPONENT) if _is_prime(one))
    generator = next(
        root for base in range(2, 99) if (root := pow(base, (p - 1) // EXPONENT, p)) != 1
    )
    assert pow(generator, EXPONENT, p) == 1, "a root of one that is not one"
    value = pow(12345, EXPONENT, p)
    assert pow(12345 * generator % p, EXPONENT, p) == value, "two roots of the same number"
    with_root = sum(
        pow(VrfKey(p).encoded(to_certify(number)) % p, (p - 1) // EXPONENT, p) == 1
        for number in range(64)
    )
    assert with_root == 0, "of 64 numbers that nobody chose, each has a root once in 65,537"


def test_a_number_that_shares_a_factor_with_the_key_is_no_proof() -> None:
    """Where the square of a prime divides the key, such numbers have several roots."""
    prime = next(one for one in range(2**61 + 1, 2**62, 2) if _is_prime(one))
    key = VrfKey(9 * prime)
    alpha = next(one for one in map(str.encode, map(str, range(200))) if key.encoded(one) % 9 == 0)
    root = pow(key.encoded(alpha), pow(EXPONENT, -1, prime - 1), prime)
    proofs = {
        number: root + prime * ((number - root) * pow(prime, -1, 9) % 9) for number in (0, 3, 6)
    }
    for proof in proofs.values():
        assert pow(proof, EXPONENT, key.modulus) == key.encoded(alpha) % key.modulus
        assert key.output(proof.to_bytes(key.length, "big"), alpha) is None


def _is_prime(number: int) -> bool:
    """Fermat's test to a few bases, which is enough for a number nobody made to fool it."""
    return all(pow(base, number - 1, number) == 1 for base in (2, 3, 5, 7, 11, 13))


def test_a_private_key_is_read_back_and_others_are_refused() -> None:
    assert read_vrf_signer(SIGNER.secret()).key == SIGNER.key
    assert fresh_map_key().key != SIGNER.key
    for text in ("", "snake", encode64(b"snake"), SIGNER.secret()[:-8]):
        with pytest.raises(BadMapKey):
            read_vrf_signer(text)
    for bits, exponent, why in ((1024, EXPONENT, "2048 to"), (2048, 3, "exponent")):
        key = generate_private_key(exponent, bits)
        der = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
        with pytest.raises(BadMapKey, match=why):
            read_vrf_signer(encode64(der))
