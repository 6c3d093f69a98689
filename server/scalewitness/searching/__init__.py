"""Finding animals among all that one may see: by what is asked of them, in an order, a page at a
time."""
