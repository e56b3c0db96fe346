"""Why there is no menu, in limits a person can find and change."""
