"""What one browser session remembers: the open inspection, what could not be saved, and where the user is.

The address carries the inspection and the step, so a reload comes back to the same place; everything typed is in
the store as soon as it is finished, and a new inspection from the first entry on. Each session holds its own copy;
the store refuses to overwrite what another one saved in the meantime, and both sides are kept until the user has
chosen.
"""

from dataclasses import replace
from pathlib import Path

import streamlit as st

from app.beginning import blank_inspection, nothing_entered
from app.record.folder import data_folder
from app.record.inspection import Inspection
from app.record.photo_store import PhotoStore
from app.record.problems import Conflict, NotStored, RecordProblem
from app.record.recovery import recover_damaged
from app.record.store import InspectionStore
from app.wording import MILLIMETRES, UNITS, LengthUnit

# Keys of the session. Widget keys start with an underscore and are made by `widget_key`.
OPEN = "open"  # the inspection as it stands on the screens
GENERATION = "generation"  # counts how often it was loaded anew, so that widgets start from it again
CONFLICT = "conflict"  # Conflict raised by the last save
PROBLEM = "problem"  # RecordProblem of the last save; the inspection is kept here until it can be saved
NOTICE = "notice"  # one line to say once on the next screen
BEFORE = "before"  # the inspection before something was taken out of it, and words for what
UNIT = "_unit"

INSPECTION, STEP, SIGHTING, COMPARED, SHOWN_UNIT = "inspection", "step", "sighting", "compare", "unit"  # in the address
GROUP = "group"  # part of the checks, in the address
NEW = "new"  # in the address while nothing has been entered, so that a reload finds no gap
START, COMPARE = "start", "compare"
STEPS = {
    "guitar": "Guitar",
    "photographs": "Photos",
    "curves": "Curves",
    "inspection": "Checks",
    "decision": "Decision",
}


@st.cache_resource
def _stores(folder: Path) -> tuple[InspectionStore, PhotoStore]:
    inspections, photos = InspectionStore(folder), PhotoStore(folder)
    photos.remove_unused(inspections.photos_in_use())
    return inspections, photos


def store() -> InspectionStore:
    """The inspections in the user's data folder."""
    return _stores(data_folder())[0]


def photo_store() -> PhotoStore:
    """The photographs in the user's data folder."""
    return _stores(data_folder())[1]


def recover() -> None:
    """Set a damaged database aside and go on with what could be read from it."""
    try:
        recovery = recover_damaged(data_folder())
    except (ValueError, RecordProblem) as problem:
        notice(f"Not recovered: {problem}")
        return
    _stores.clear()
    leave()
    lost = f" {recovery.unreadable} could not be read." if recovery.unreadable else ""
    notice(f"{recovery.recovered} inspections recovered.{lost} The damaged file lies in {recovery.kept_in.name}.")


def current() -> Inspection:
    """The open inspection. Raises ValueError when none is open."""
    found = st.session_state.get(OPEN)
    if not isinstance(found, Inspection):
        raise ValueError(f"{OPEN}={found!r}: no inspection is open")
    return found


def open_from_address() -> Inspection | None:
    """The inspection that the address names, loaded if it is not the open one; None when it names none.

    Raises RecordProblem when it cannot be loaded.
    """
    wanted = st.query_params.get(INSPECTION)
    if wanted is None:
        return None
    found = st.session_state.get(OPEN)
    if isinstance(found, Inspection) and found.id == wanted:
        return found
    try:
        return _take(store().load(wanted))
    except NotStored as problem:
        if NEW not in st.query_params:
            raise
        try:
            return _take(replace(blank_inspection(_last_currency()), id=wanted))
        except ValueError:
            raise problem from None  # the address names no possible inspection


def begin() -> None:
    """Go to the first step of a new inspection, which is stored once anything is entered in it."""
    blank = _take(blank_inspection(_last_currency()))
    go_to("guitar", inspection_id=blank.id)
    st.query_params[NEW] = "1"


def begin_with(inspection: Inspection, step: str) -> None:
    """Store a prepared inspection and go to one of its steps."""
    saved = _take(store().save(replace(inspection, step=step)))
    go_to(step, inspection_id=saved.id)


def change(inspection: Inspection) -> None:
    """Make inspection the one on the screens and store it; what cannot be stored is kept and said."""
    if inspection == st.session_state.get(OPEN):
        return
    st.session_state[OPEN] = inspection
    save()


def take_out(inspection: Inspection, words: str) -> None:
    """As `change`, for one that takes something out: words say what, and it can be undone until the next change."""
    before = current()
    change(inspection)
    st.session_state[BEFORE] = (before, words)


def taken_out() -> str | None:
    """What was taken out last, in words, while it can be put back: nothing has been changed since."""
    before, words = st.session_state.get(BEFORE) or (None, None)
    now = st.session_state.get(OPEN)
    if not isinstance(before, Inspection) or not isinstance(now, Inspection):
        return None
    return words if before.id == now.id and now.revision <= before.revision + 1 else None


def undo() -> None:
    """Put back what was taken out last."""
    before, _ = st.session_state.pop(BEFORE)
    change(replace(before, revision=current().revision))
    st.session_state[GENERATION] = st.session_state.get(GENERATION, 0) + 1


def trouble() -> tuple[object, object]:
    """What stands in the way of saving: the conflict and the problem of the last save."""
    return st.session_state.get(CONFLICT), st.session_state.get(PROBLEM)


def save() -> None:
    """Store the open inspection, unless it is a new one in which nothing has been entered."""
    state = st.session_state
    if state[OPEN].revision == 0 and nothing_entered(state[OPEN]):
        return
    try:
        state[OPEN] = store().save(state[OPEN])
        state[PROBLEM] = None
        st.query_params.pop(NEW, None)
    except Conflict as conflict:
        state[CONFLICT] = conflict
    except RecordProblem as problem:
        state[PROBLEM] = problem


def take_stored() -> None:
    """End a conflict with the version in the store."""
    stored = st.session_state[CONFLICT].stored
    st.session_state[CONFLICT] = None
    if stored is None:
        leave()
    else:
        _take(stored)


def keep_as_copy() -> None:
    """End a conflict by storing this session's version beside the other."""
    copy = store().save_copy(st.session_state[CONFLICT].mine)
    st.session_state[CONFLICT] = None
    _take(copy)
    st.query_params.pop(NEW, None)
    st.query_params[INSPECTION] = copy.id


def leave() -> None:
    """Back to the list of inspections."""
    st.session_state[OPEN] = None
    unit = st.query_params.get(SHOWN_UNIT)
    st.query_params.clear()
    if unit:
        st.query_params[SHOWN_UNIT] = unit


def go_to(step: str, *, inspection_id: str | None = None, sighting: int | None = None) -> None:
    """Another step, of this inspection or another; the stored step follows, so that opening it again resumes there."""
    if inspection_id is not None:
        st.query_params[INSPECTION] = inspection_id
        st.query_params.pop(NEW, None)
    if COMPARED in st.query_params:
        del st.query_params[COMPARED]
    st.query_params[STEP] = step
    if sighting is not None:
        st.query_params[SIGHTING] = str(sighting)
    elif SIGHTING in st.query_params and inspection_id is not None:
        del st.query_params[SIGHTING]
    found = st.session_state.get(OPEN)
    if isinstance(found, Inspection) and st.query_params.get(INSPECTION) == found.id and found.step != step:
        change(replace(found, step=step))


def step() -> str:
    """The step the address names, the first one when it names none that there is."""
    wanted = st.query_params.get(STEP, "")
    return wanted if wanted in STEPS else "guitar"


def place() -> str:
    """Which screen, and which part of it, the address names: what a user takes for a page of its own."""
    named = (st.query_params.get(key, "") for key in (COMPARED, INSPECTION, STEP, SIGHTING, GROUP))
    return " ".join(named)


def sighting_index() -> int:
    """Which set of photographs the screens show: the one in the address, else the last."""
    count = len(current().sightings)
    text = st.query_params.get(SIGHTING, "")
    index = int(text) if text.isdecimal() and len(text) < 4 else count - 1
    return min(max(index, 0), max(count - 1, 0))


def widget_key(name: str, value: object) -> str:
    """The key of a widget that starts from value, which is read again whenever the inspection is loaded anew."""
    key = _key(name)
    if key not in st.session_state:
        st.session_state[key] = value
    return key


def forget(*names: str) -> None:
    """Let the widgets of these names start again from the value they are given."""
    for name in names:
        st.session_state.pop(_key(name), None)


def _key(name: str) -> str:
    found = st.session_state.get(OPEN)
    return f"_{found.id if isinstance(found, Inspection) else ''}_{st.session_state.get(GENERATION, 0)}_{name}"


def unit() -> LengthUnit:
    """The unit that lengths are shown in."""
    return UNITS.get(st.query_params.get(SHOWN_UNIT, MILLIMETRES.key), MILLIMETRES)


def notice(text: str) -> None:
    """Say text once on the next screen drawn."""
    st.session_state[NOTICE] = text


def _last_currency() -> str:
    """The currency of the inspection changed last, which most often is that of the next."""
    return next((summary.currency for summary in store().summaries() if summary.currency), "")


def _take(inspection: Inspection) -> Inspection:
    st.session_state[OPEN] = inspection
    st.session_state[GENERATION] = st.session_state.get(GENERATION, 0) + 1
    st.session_state[CONFLICT] = st.session_state[PROBLEM] = None
    return inspection
