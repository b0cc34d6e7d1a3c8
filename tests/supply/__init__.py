"""What the project stands on: locked, hashed, and held against known faults."""
