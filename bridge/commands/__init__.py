"""The commands: each module reads its arguments, does its work and returns an exit code."""
