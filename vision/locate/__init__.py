"""Finding and numbering the frets of a guitar neck in a whole photograph."""

from vision.locate.result import ADVICE, COUNT_OPEN, LocatedNeck, NotLocated, RefusalCode
from vision.locate.search import locate_neck

__all__ = ["ADVICE", "COUNT_OPEN", "LocatedNeck", "NotLocated", "RefusalCode", "locate_neck"]
