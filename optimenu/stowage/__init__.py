"""What is ordered, packed and stowed for a menu."""
