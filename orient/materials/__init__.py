"""What is known of the polymers, every number with its source."""
