"""Settings for the whole suite."""
