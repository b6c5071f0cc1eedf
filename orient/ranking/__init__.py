"""Orders poses by named columns, chooses one and says why; computes no column itself."""
