"""The question, resolved and frozen: calendar, meals, parties, people, items, settings."""
