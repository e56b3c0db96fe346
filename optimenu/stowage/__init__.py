"""What is packed, ordered and left: from a signed menu to packs."""
