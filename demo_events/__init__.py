"""A seeded generator of an invented harbour-town workshop: its bikes, riders, benches and wear."""
