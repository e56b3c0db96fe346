"""The menu: one line per planned serving, and sums over it."""
