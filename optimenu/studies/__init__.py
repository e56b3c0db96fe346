"""Many cases: how one quantity trades against another."""
