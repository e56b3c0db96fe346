"""Many cases of one question: the same config with settings changed, planned in batches and compared."""
