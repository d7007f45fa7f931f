"""Tetherlight: the live bridge between one operator and a rig of moving heads used as follow spots."""

__version__ = "0.1.0"
