"""Photos of a bike: without what a camera writes into them, encrypted, named by their hash."""
