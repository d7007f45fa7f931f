"""Sockets, clocks, signals and processes round the engine."""
