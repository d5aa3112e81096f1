"""The command and the page around the measurement in `vision`."""

from vision import __version__

__all__ = ["__version__"]
