"""Targets, areas, motion and light: the engine that turns observations into frames."""
