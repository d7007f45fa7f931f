"""OSC and E1.31: bytes to values and back. Imports nothing of ours but the error tree."""
