"""The simulated venue: virtual heads that hear sACN, their beams, and what they hit."""
