"""What there is to eat: column declarations, reading, checking, recipes."""
