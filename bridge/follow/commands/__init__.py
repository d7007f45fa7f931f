"""OSC addresses to what they do to the engine."""
