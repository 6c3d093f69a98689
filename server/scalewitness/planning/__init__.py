"""The next checks worth making, and what one more call would change; writes nothing."""
