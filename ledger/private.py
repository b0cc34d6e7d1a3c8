"""Who may sign in, their PINs and their sign-ins: in `private.sqlite`, outside the events."""
