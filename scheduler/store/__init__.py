"""What is kept: progress log, forecasts as issued, plans with their inputs."""
