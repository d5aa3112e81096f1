"""What can go wrong with a record that is not the caller's mistake: each says why and what to do next.

Misuse by a caller raises ValueError instead.
"""

from app.record.inspection import Inspection


class RecordProblem(Exception):  # noqa: N818  a reason and advice for the user, not a programming error
    """reason: what is wrong, one sentence. advice: what the user can do about it."""

    def __init__(self, reason: str, advice: str) -> None:
        super().__init__(f"{reason} {advice}")
        self.reason = reason
        self.advice = advice


class DocumentProblem(RecordProblem):
    """A stored or imported document is not an inspection that this version can read."""


class StoreProblem(RecordProblem):
    """The database of inspections cannot be opened or written."""


class StoreDamaged(StoreProblem):
    """The database's contents are damaged; the file has been left as it is."""


class NotStored(RecordProblem):
    """No inspection is stored under the id asked for."""


class PhotoProblem(RecordProblem):
    """A photograph is missing, damaged, too large or not readable as a picture."""


class ExchangeProblem(RecordProblem):
    """An export file cannot be made, or an import file is refused; nothing has been stored."""


class Conflict(RecordProblem):
    """The inspection was changed elsewhere since it was loaded. Neither side is lost.

    mine: what was to be saved. stored: what the store holds, None when it was erased. binned: it lies in the bin.
    Ways on: `InspectionStore.save_copy(mine)` keeps both; `save(mine, over=stored.revision)` makes mine the
    newest; loading again takes the stored side.
    """

    def __init__(self, mine: Inspection, stored: Inspection | None, binned: bool) -> None:
        if stored is None:
            reason = "This inspection was erased in another window or program while it was open here."
        elif binned:
            reason = "This inspection was moved to the bin in another window or program while it was open here."
        else:
            reason = (
                f"This inspection was saved in another window or program at {stored.changed_at:%Y-%m-%d %H:%M} UTC, "
                "after it was opened here."
            )
        super().__init__(reason, "Nothing is lost: keep your version as a copy, or go on with the stored one.")
        self.mine = mine
        self.stored = stored
        self.binned = binned
