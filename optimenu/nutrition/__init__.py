"""Reference intakes, energy requirement and nutrient declarations, each number with its source."""
