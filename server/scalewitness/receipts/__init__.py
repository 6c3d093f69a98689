"""Whose the receipts are: who may see which entry of the log."""
