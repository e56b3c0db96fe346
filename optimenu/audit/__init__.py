"""Second looks: the menu from the Problem's tables, the bound from its multipliers alone."""
