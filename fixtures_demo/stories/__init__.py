"""The four stories the product promises, played against a live server."""
