"""Bytes of a photograph to upright pixels and what its camera record says about the focal length."""

from vision.photo.decode import decode_photograph
from vision.photo.photograph import PhotoFile, Photograph, Unreadable

__all__ = ["PhotoFile", "Photograph", "Unreadable", "decode_photograph"]
