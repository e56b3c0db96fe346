"""Configs: TOML in layers, checked against the rules' own settings."""
