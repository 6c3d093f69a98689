"""Who is owed which letter, and what it says in values. Wording lives in the templates."""
