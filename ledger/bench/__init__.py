"""At the bench: one service of one bike, as data for whoever asks the questions."""
