"""Shared fixtures: the synthetic outcomes, and the folder of the sample photographs."""

from pathlib import Path

import pytest

from tests import fixtures_results
from tests.sample_necks import SAMPLES
from vision.results import Measured, Refused


@pytest.fixture
def measured() -> Measured:
    return fixtures_results.measured()


@pytest.fixture
def refused() -> Refused:
    return fixtures_results.refused()


@pytest.fixture(scope="session")
def sample_folder() -> Path:
    return SAMPLES
