"""The measurement of a set of photographs: asked for, watched, and put into the inspection when it has ended."""

from app import sightings
from app.jobs import Job
from app.measuring import KeptMeasurements, Question, ask, ask_again, question_of
from app.record.folder import data_folder
from app.record.inspection import Inspection, Measurement, Sighting
from app.widgets import session

KEPT_FOLDER = "measurements"


def kept() -> KeptMeasurements:
    """Finished measurements in the user's data folder."""
    return KeptMeasurements(data_folder() / KEPT_FOLDER)


def measurement_job(sighting: Sighting, inspection: Inspection) -> Job[Measurement]:
    """The measurement of this set, begun if it was not. Raises ValueError where nothing can be measured yet."""
    photos = session.photo_store()
    return ask(question_of(sighting, inspection.guitar.neck.stated()), photos.get, kept())


def measure_again(sighting: Sighting, inspection: Inspection) -> None:
    """Begin a failed measurement anew."""
    question = _question(sighting, inspection)
    if question is not None:
        ask_again(question)


def attach_finished() -> None:
    """Put every finished measurement that its set still lacks into the open inspection."""
    inspection = session.current()
    for index, sighting in enumerate(inspection.sightings):
        question = _question(sighting, inspection)
        if sighting.measurement is None and question is not None:
            found = kept().find(question.key())
            if found is not None:
                inspection = sightings.with_measurement(inspection, index, found)
    session.change(inspection)


def _question(sighting: Sighting, inspection: Inspection) -> Question | None:
    try:
        return question_of(sighting, inspection.guitar.neck.stated())
    except ValueError:
        return None
