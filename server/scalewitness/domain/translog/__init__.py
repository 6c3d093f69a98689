"""The tamper-evident log: one byte form per entry, a Merkle tree over them, proofs."""
