"""Measuring a guitar neck from photographs: pure computation, no files, no drawing, no browser."""

__version__ = "0.1.0"
