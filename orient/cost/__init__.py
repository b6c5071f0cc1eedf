"""What the shop can do: machine fitness, service, envelope, time, cost, curl, cautions and tuning."""
