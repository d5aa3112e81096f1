"""The command and the page around the measurement in `vision`."""

__version__ = "0.1.0"
