"""Where the targets are, and whether the area lets them be lit."""
