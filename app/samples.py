"""The sample necks that the page offers for trying, with what a user would state about them."""

from dataclasses import dataclass
from pathlib import Path

from vision.settings import StatedNeck

SAMPLE_FOLDER = Path(__file__).resolve().parent.parent / "sample_images"
KINDS = ("bass", "front", "treble")


@dataclass(frozen=True)
class Sample:
    """One sample neck: the key its files start with, its title, and what is stated about it."""

    key: str
    title: str
    stated: StatedNeck

    def paths(self) -> tuple[Path, ...]:
        """Its three photographs."""
        return tuple(SAMPLE_FOLDER / f"{self.key}_{kind}.jpg" for kind in KINDS)


SAMPLES = {
    sample.key: sample
    for sample in (
        Sample("forward_bow", "Forward bow", StatedNeck(647.7, 24)),
        Sample("back_bow", "Back-bow", StatedNeck(647.7, 22)),
        Sample("twist", "Twist", StatedNeck(628.65, 22)),
    )
}


def available_samples() -> tuple[Sample, ...]:
    """The samples whose photographs are all there; none where the project is installed without them."""
    return tuple(s for s in SAMPLES.values() if all(path.is_file() for path in s.paths()))
