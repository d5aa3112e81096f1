"""The quick looks of a set, each worked on in the background once and remembered while the program runs."""

import hashlib
import json
from dataclasses import astuple

from app.jobs import Job, Jobs, Progress
from app.looking import Look, look_at
from app.record.inspection import Photo, Sighting
from app.widgets import session
from vision.locate import COUNT_OPEN
from vision.settings import StatedNeck

LOOKS: Jobs[Look] = Jobs(workers=1, kept=60)


def look_jobs(sighting: Sighting, stated: StatedNeck) -> tuple[Job[Look], ...]:
    """The quick look at every photograph of the set, begun where it was not.

    As the measurement does: once one shows how many frets there are, those that left it open are looked at again.
    """
    jobs = [_ask(photo, stated) for photo in sighting.photos]
    if any(job.result is not None and job.result.found for job in jobs):
        for i, (photo, job) in enumerate(zip(sighting.photos, jobs, strict=True)):
            if job.result is not None and job.result.code == COUNT_OPEN:
                jobs[i] = _ask(photo, stated, counted=True)
    return tuple(jobs)


def _ask(photo: Photo, stated: StatedNeck, *, counted: bool = False) -> Job[Look]:
    parts = json.dumps((photo.sha256, photo.name, photo.corners, astuple(stated), counted))
    photos = session.photo_store()

    def work(progress: Progress) -> Look:
        return look_at(photos.get(photo.sha256), photo.name, stated, photo.corners, counted=counted)

    return LOOKS.ask(hashlib.sha256(parts.encode()).hexdigest(), work)
