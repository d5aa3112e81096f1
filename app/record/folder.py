"""Where records live: one folder of the user's own, with the database and the photographs in it."""

import os
from pathlib import Path

import platformdirs

FOLDER_VARIABLE = "NECK_SIGHTING_DATA"  # names another folder, for a second collection or a memory stick


def data_folder() -> Path:
    """The folder named by NECK_SIGHTING_DATA, otherwise the platform's usual place for a program's data."""
    named = os.environ.get(FOLDER_VARIABLE)
    return Path(named) if named else platformdirs.user_data_path("neck-sighting", appauthor=False)


def sync_folder(folder: Path) -> None:
    """Make renames and new files in folder last through a power cut, where the platform lets folders be synced."""
    if os.name == "nt":  # directories cannot be opened there; the file system journals the rename itself
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
