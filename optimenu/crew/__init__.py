"""Who eats: people, prescriptions, energy requirement, tasting scores and acceptance."""
