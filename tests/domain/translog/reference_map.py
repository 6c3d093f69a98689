"""A verifier written from server/MAP.md alone: it imports nothing of the project.

``whole(answer, map_key, log_key, animal, entries)`` gives the position as of which the entries are
all there are, or raises AssertionError with what does not fit.
"""

import json
from base64 import b64decode
from hashlib import sha256
from math import gcd
from uuid import UUID

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


def node(left, right):
    return sha256(b"\x01" + left + right).digest()


def signed_tree(note, log_key):
    """Size and root of a checkpoint with the log's signature (C2SP signed-note)."""
    name, key_id, material = log_key.split("+", 2)
    public = b64decode(material)[1:]
    text, _, lines = note.rpartition("\n\n")
    text += "\n"
    for line in lines.splitlines():
        dash, signer, signature = line.split(" ")
        blob = b64decode(signature)
        if dash == "\u2014" and signer == name and blob[:4].hex() == key_id:
            Ed25519PublicKey.from_public_bytes(public).verify(blob[4:], text.encode())
            origin, size, root = text.splitlines()[:3]
            assert origin == name, "a checkpoint of another log"
            return int(size), b64decode(root)
    raise AssertionError("the log did not sign this")


def included(leaf, index, size, proof, root):
    """RFC 9162, 2.1.3.2."""
    place, last, running = index, size - 1, leaf
    for hash in proof:
        assert last > 0, "the proof is too long"
        if place % 2 or place == last:
            running = node(hash, running)
            while place % 2 == 0 and place:
                place, last = place >> 1, last >> 1
        else:
            running = node(running, hash)
        place, last = place >> 1, last >> 1
    assert (last, running) == (0, root), "the map's root is not in the tree"


def expand(seed, length):
    """MGF1 with SHA-256 (RFC 8017)."""
    blocks = (sha256(seed + count.to_bytes(4, "big")).digest() for count in range(length // 32 + 1))
    return b"".join(blocks)[:length]


def path_of(modulus, proof, said):
    """RSA-FDH-VRF-SHA256 (RFC 9381): the path that belongs to what is said."""
    length = len(modulus)
    n, root = int.from_bytes(modulus, "big"), int.from_bytes(proof, "big")
    hashed = expand(b"\x01\x01" + length.to_bytes(4, "big") + modulus + said, length - 1)
    assert (len(proof), gcd(root, n)) == (length, 1), "no proof of a path"
    assert root < n, "no proof of a path"
    assert pow(root, 65537, n) == int.from_bytes(hashed, "big"), "the path of something else"
    return sha256(b"\x01\x02" + proof).digest()


def chain_over(links):
    chain = bytes(32)
    for position, hash in links:
        chain = sha256(b"\x03" + chain + position.to_bytes(8, "big") + hash).digest()
    return chain


def root_of(path, leaf, siblings):
    bits = "".join(f"{byte:08b}" for byte in path)
    running = leaf
    for depth in reversed(range(len(siblings))):
        beside = b64decode(siblings[depth]) if siblings[depth] else bytes(32)
        pair = (beside, running) if bits[depth] == "1" else (running, beside)
        running = sha256(b"\x02" + b"".join(pair)).digest()
    return running


def map_in(answer, log_key):
    """The map's root and the hash of its key, as the signed tree's last entry states them."""
    size, root = signed_tree(answer["checkpoint"], log_key)
    stated = answer["map"]
    entry = b64decode(stated["entry"])
    assert stated["position"] == size - 1, "the map is not stated last"
    proof = [b64decode(one) for one in stated["proof"]]
    included(sha256(b"\x00" + entry).digest(), size - 1, size, proof, root)
    leaf = json.loads(entry)
    assert (leaf["kind"], leaf["by"]) == ("map_root", None), "another entry than the map's"
    return size, bytes.fromhex(leaf["body"]["root"]), leaf["body"]["key"]


def certified(map_key, key_hash):
    """The modulus, once it is shown to give every path one proof."""
    modulus = b64decode(map_key["modulus"])
    assert sha256(modulus).hexdigest() == key_hash, "another key than the log states"
    assert len(map_key["roots"]) == 8, "no certificate"
    assert 256 <= len(modulus) <= 512, "no key of this kind"
    for number, root in enumerate(map_key["roots"]):
        path_of(modulus, b64decode(root), b"map key " + bytes([number]))
    return modulus


def whole(answer, map_key, log_key, animal, entries):
    """``entries``: bytes by position, as the reader has them about this animal."""
    size, map_root, key_hash = map_in(answer, log_key)
    modulus = certified(map_key, key_hash)
    (proof,) = [one for one in answer["animals"] if one["id"] == animal]
    shown = [(at, sha256(b"\x00" + entry).digest()) for at, entry in entries.items() if at < size]
    hidden = [(one["position"], b64decode(one["hash"])) for one in proof["hidden"]]
    links = sorted(shown + hidden)
    assert len(links) == len(dict(links)) == proof["count"], "not all that is stated is there"
    path = path_of(modulus, b64decode(proof["path_proof"]), UUID(animal).bytes)
    count = proof["count"].to_bytes(8, "big")
    said = b"\x04" + b64decode(proof["nonce"]) + count + chain_over(links)
    leaf = sha256(b"\x01" + path + sha256(said).digest()).digest()
    assert root_of(path, leaf, proof["siblings"]) == map_root, "the map holds something else"
    return size - 1
