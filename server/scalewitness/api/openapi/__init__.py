"""The OpenAPI 3.1 document, made from the operations themselves."""
