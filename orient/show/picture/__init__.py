"""Pictures of a part on the bed, drawn without a display: rays for what is seen, numpy for the light."""
