"""Frames, pan and tilt, and the description of the place; knows no fixture, file or clock."""
