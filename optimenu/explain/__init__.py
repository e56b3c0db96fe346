"""Why there is no menu, what would give one; or what limits of a menu are worth, and why not this item."""
