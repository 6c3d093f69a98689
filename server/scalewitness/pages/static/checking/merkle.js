// The Merkle tree of RFC 9162, section 2.1: hashes, inclusion and consistency proofs.
// Sizes and positions are BigInt, hashes Uint8Array of 32 bytes. Proofs come from strangers:
// whatever is malformed is answered with false.

import { bytesOf, equal, joined, sha256 } from "../shared/bytes.js";

export const HASH_BYTES = 32;
export const MAX_SIZE = 2n ** 64n - 1n;

/** @param {Bytes} entry */
export const leafHash = (entry) => sha256(joined(Uint8Array.of(0), entry));
/** @param {Bytes} left
 * @param {Bytes} right */
export const nodeHash = (left, right) => sha256(joined(Uint8Array.of(1), left, right));
export const emptyRoot = () => sha256(bytesOf(""));

/** @param {Bytes[]} values */
const areHashes = (values) => values.every((one) => one.length === HASH_BYTES);

/** The largest power of two below count, which must be above 1.
 * @param {bigint} count */
function split(count) {
  let half = 1n;
  while (half * 2n < count) half *= 2n;
  return half;
}

/** From the root down to a leaf, or to the subtree that ends at `boundary`: on which side the
 * sibling lies at every turn, the lowest first, and where the subtree begins.
 * @param {bigint} leaf
 * @param {bigint} size
 * @param {bigint | null} boundary */
function walk(leaf, size, boundary) {
  const leftSiblings = [];
  let [begin, end] = [0n, size];
  while (end - begin > 1n && end !== boundary) {
    const middle = begin + split(end - begin);
    const isLeft = leaf >= middle;
    leftSiblings.unshift(isLeft);
    if (isLeft) begin = middle;
    else end = middle;
  }
  return { leftSiblings, begin };
}

/** Whether `proof` shows the leaf to stand at `index` of the tree of `size` leaves.
 * @param {{ leaf: Bytes, index: bigint, size: bigint, proof: Bytes[], root: Bytes }} given */
export async function verifyInclusion({ leaf, index, size, proof, root }) {
  if (!(0n <= index && index < size && size <= MAX_SIZE)) return false;
  if (!areHashes([leaf, root, ...proof])) return false;
  const { leftSiblings } = walk(index, size, null);
  if (leftSiblings.length !== proof.length) return false;
  let running = leaf;
  for (const [at, given] of proof.entries()) {
    running = await (leftSiblings[at] ? nodeHash(given, running) : nodeHash(running, given));
  }
  return equal(running, root);
}

/** Whether `proof` shows the tree of `size1` leaves to be the start of that of `size2`. From
 * the empty tree any tree grows, by an empty proof (C2SP tlog-witness).
 * @param {{ size1: bigint, root1: Bytes, size2: bigint, root2: Bytes, proof: Bytes[] }} given */
export async function verifyConsistency({ size1, root1, size2, root2, proof }) {
  if (!(0n <= size1 && size1 <= size2 && size2 <= MAX_SIZE)) return false;
  if (!areHashes([root1, root2, ...proof])) return false;
  if (size1 > 0n) return grows(size1, root1, size2, root2, proof);
  const empty = await emptyRoot();
  return !proof.length && equal(root1, empty) && (size2 === 0n) === equal(root2, empty);
}

/** @param {bigint} size1
 * @param {Bytes} root1
 * @param {bigint} size2
 * @param {Bytes} root2
 * @param {Bytes[]} proof */
async function grows(size1, root1, size2, root2, proof) {
  const { leftSiblings, begin } = walk(size1 - 1n, size2, size1);
  // A subtree that begins at 0 is the old tree itself, whose root the checker holds.
  const [start, ...siblings] = begin === 0n ? [root1, ...proof] : proof;
  if (start === undefined || siblings.length !== leftSiblings.length) return false;
  let [before, after] = [start, start];
  for (const [at, given] of siblings.entries()) {
    if (leftSiblings[at]) before = await nodeHash(given, before);
    after = await (leftSiblings[at] ? nodeHash(given, after) : nodeHash(after, given));
  }
  return equal(before, root1) && equal(after, root2);
}
