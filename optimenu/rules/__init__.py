"""One constraint family, one file."""
