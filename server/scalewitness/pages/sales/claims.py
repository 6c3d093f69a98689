"""The claims of traits that a sale's animals can be offered with."""

from scalewitness.domain.genetics.stated_words import basis_in_words, statement_in_words
from scalewitness.pages.home.titles import title_in
from scalewitness.sales.models import Sale
from scalewitness.traits.queries import statements_of
from scalewitness.traits.queries.claims import makers_for


def claims_to_offer(sale: Sale) -> list[tuple[str, str]]:
    """Those of its keepers that stand, each as the animal and the statement, with its words."""
    animals = {one.pk: one for one in sale.animals.order_by("pk")}
    makers = makers_for(animals.keys())
    stated = (one for own in statements_of(animals).values() for one in own)
    found = [one for one in stated if one.by in makers[one.animal]]
    return [
        (
            f"{one.animal} {one.id}",
            f"{title_in(sale, animal)}: {statement_in_words(animal.species, one)}, "
            f"{basis_in_words(one)}",
        )
        for one in found
        for animal in [animals[one.animal]]
        if not one.fell
    ]
