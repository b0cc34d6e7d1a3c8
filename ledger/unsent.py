"""Forms half filled in and not yet recorded, kept so that an interruption loses nothing."""
