"""Two stores, one with a saved inspection and its export file."""

from pathlib import Path

import pytest

from app.record.export_inspection import export_inspection
from app.record.inspection import Inspection
from app.record.photo_store import PhotoStore
from app.record.store import InspectionStore
from tests.record.records import full_inspection, jpeg


@pytest.fixture
def here(tmp_path: Path) -> tuple[InspectionStore, PhotoStore]:
    return InspectionStore(tmp_path / "here"), PhotoStore(tmp_path / "here")


@pytest.fixture
def there(tmp_path: Path) -> tuple[InspectionStore, PhotoStore]:
    return InspectionStore(tmp_path / "there"), PhotoStore(tmp_path / "there")


@pytest.fixture
def saved(here: tuple[InspectionStore, PhotoStore]) -> Inspection:
    store, photos = here
    return store.save(full_inspection(photos.put(jpeg()), photos.put(jpeg(shade=30))))


@pytest.fixture
def exported(here: tuple[InspectionStore, PhotoStore], saved: Inspection) -> bytes:
    return export_inspection(saved, here[1], "0.1.0").data
