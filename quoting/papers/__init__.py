"""Papers: what is printed, and the figures on it."""
