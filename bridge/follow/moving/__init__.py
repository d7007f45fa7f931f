"""From points to angles: which face and turn, moves in black, and motion inside what motors can do."""
