"""Traits of animals: what people state of them."""

from scalewitness.domain.facts.shapes import Body, Commitment, Id, Share, Word
from scalewitness.domain.genetics.stated import Basis, Says


class TraitStated(Body, frozen=True):
    """About an animal. ``locus``: a key of its species' sheet of traits, with the ``allele`` where
    there are several; else the trait is what ``words`` say. ``chance``: for "may_carry", as it was
    sold. ``laboratory`` and ``sample``: of a DNA test."""

    says: Says
    basis: Basis
    locus: Word | None = None
    allele: Word | None = None
    chance: Share | None = None
    words: Commitment | None = None
    laboratory: Commitment | None = None
    sample: Commitment | None = None
    note: Commitment | None = None


class TraitWithdrawn(Body, frozen=True):
    """About an animal: whoever ``stated`` that takes it back."""

    stated: Id
    note: Commitment | None = None


class ClaimFell(Body, frozen=True):
    """About an animal: under its proved parents, what was ``stated`` has this ``chance`` to be
    true, at most :data:`~scalewitness.domain.genetics.falling.FALLS_AT`."""

    stated: Id
    chance: Share
    cause: Id


class ClaimRestored(Body, frozen=True):
    """About an animal: what was ``stated`` and had fallen stands again. ``chance``: None where its
    parents are proved no more."""

    stated: Id
    cause: Id
    chance: Share | None = None


BODIES: dict[str, type[Body]] = {
    "trait_stated": TraitStated,
    "trait_withdrawn": TraitWithdrawn,
    "claim_fell": ClaimFell,
    "claim_restored": ClaimRestored,
}
