"""Many cases: how one quantity trades against another, how lengths and crews compare."""
