"""The show folder: schema, every problem with file and line, and the atomic store."""
