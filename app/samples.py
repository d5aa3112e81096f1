"""The sample guitars for trying: rendered photographs of made-up necks, with entries as a buyer would make them."""

from dataclasses import dataclass, replace
from pathlib import Path

from app.record.inspection import (
    CheckResult,
    Guitar,
    Inspection,
    Neck,
    Photo,
    PlayedNote,
    Sighting,
    new_inspection,
    now_utc,
)
from app.record.photo_store import PhotoStore

SAMPLE_FOLDER = Path(__file__).resolve().parent.parent / "sample_images"
KINDS = ("bass", "treble", "front")


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample: the key its files start with, its title, the guitar, and what was seen and heard on it."""

    key: str
    title: str
    guitar: Guitar
    checks: dict[str, CheckResult]
    play_test: tuple[PlayedNote, ...] = ()

    def paths(self) -> tuple[Path, ...]:
        """Its three photographs."""
        return tuple(SAMPLE_FOLDER / f"{self.key}_{kind}.jpg" for kind in KINDS)


def _guitar(title: str, neck: Neck, asking: float, worth: float) -> Guitar:
    return Guitar(
        title=title,
        year_claimed="late 1990s, says the seller",
        place_seen="A flat in town, Saturday",
        asking_price=asking,
        currency="EUR",
        value_in_good_order=worth,
        neck=neck,
    )


_FINE = (
    "rod_travel",
    "rod_play",
    "neck_crack",
    "stripe_back",
    "inlays",
    "refret_marks",
    "tuners",
    "nut",
    "bridge",
    "springs",
    "neck_plate",
    "pickguard_screws",
    "switch",
    "pots",
)
_LOOKED_AT = {check_id: CheckResult("fine") for check_id in _FINE} | {
    "rod_nut_place": CheckResult("fine", "At the headstock, clean.", readings={"rod_nut_at": 0.0}),
    "rod_nut_stripped": CheckResult("fine", readings={"wrench_mm": 4.0}),
}

SAMPLES = {
    sample.key: sample
    for sample in (
        Sample(
            "forward_bow",
            "Forward bow",
            _guitar("Sample: two-pickup guitar, maple neck", Neck(647.7, 24), 520.0, 640.0),
            _LOOKED_AT
            | {
                "fret_ends": CheckResult("look closer", "Sharp to the hand on the treble side."),
                "play_test": CheckResult("look closer", "High string buzzes around fret 12 under a hard stroke."),
            },
            (PlayedNote(1, 12, "buzz"), PlayedNote(1, 13, "buzz"), PlayedNote(6, 3, "fine")),
        ),
        Sample(
            "back_bow",
            "Back-bow",
            _guitar("Sample: three-pickup guitar, rosewood board", Neck(647.7, 22), 450.0, 600.0),
            _LOOKED_AT,
            (PlayedNote(6, 1, "buzz"), PlayedNote(6, 2, "buzz"), PlayedNote(5, 1, "buzz")),
        ),
        Sample(
            "twist",
            "Twist",
            _guitar("Sample: short-scale guitar", Neck(628.65, 22), 380.0, 520.0),
            _LOOKED_AT,
        ),
    )
}


def available_samples() -> tuple[Sample, ...]:
    """The samples whose photographs are all there; none where the project is installed without them."""
    return tuple(s for s in SAMPLES.values() if all(path.is_file() for path in s.paths()))


def prepared_inspection(sample: Sample, photos: PhotoStore) -> Inspection:
    """An inspection of the sample with its photographs kept, ready to be measured."""
    kept = tuple(Photo(photos.put(path.read_bytes()), path.name) for path in sample.paths())
    sighting = Sighting("As found", now_utc(), tuning="to pitch", photos=kept)
    return replace(
        new_inspection(sample.guitar),
        sightings=(sighting,),
        checks=sample.checks,
        play_test=sample.play_test,
    )
