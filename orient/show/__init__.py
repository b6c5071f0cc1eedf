"""What a person sees: table, JSON, CSV and the turned part, all drawn from an Evaluation."""
