"""What changed for a keeper since they last asked; nothing here is ever written."""
