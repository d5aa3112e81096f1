"""The coil behind the jack: worked figures, the law of propagation against Monte Carlo, and misuse."""

import dataclasses
import math

import numpy as np
import pytest

from app.inspection.pickups import (
    Coil,
    JackReading,
    NoCoil,
    coil_resistance,
    coil_words,
    compare_with_stated,
)


def exact(reading_ohm: float, pot_ohm: float | None = None, temperature_c: float = 20.0, **more: float) -> JackReading:
    return JackReading(reading_ohm, 0.0, pot_ohm, 0.0, temperature_c=temperature_c, temperature_u_c=0.0, **more)


@pytest.mark.parametrize(
    ("jack", "coil_ohm"),
    [
        (exact(6400.0), 6400.0),
        (exact(6400.0, None, 10.0), 6661.81),  # IEC 60028, alpha 0.00393 a kelvin at 20 C (read in a secondary source)
        (exact(6400.0, 250e3), 6568.14),
        (exact(6400.0, 500e3), 6482.98),
        (exact(6240.25, 250e3), 6400.00),
        (exact(6400.0, 250e3, 10.0), 6836.83),
    ],
)
def test_worked_figures(jack: JackReading, coil_ohm: float) -> None:
    coil = coil_resistance(jack)
    assert isinstance(coil, Coil)
    assert coil.resistance_ohm == pytest.approx(coil_ohm, abs=0.006, rel=0)
    assert coil.u_ohm == 0.0


def test_the_jack_reads_what_the_coil_and_the_control_give() -> None:
    for pot in (None, 250e3, 500e3, 1e6):
        for temperature in (-5.0, 20.0, 35.0):
            warm = 7321.0 * (1.0 + 0.00393 * (temperature - 20.0))
            coil = coil_resistance(exact(warm if pot is None else 1.0 / (1.0 / warm + 1.0 / pot), pot, temperature))
            assert isinstance(coil, Coil)
            assert coil.resistance_ohm == pytest.approx(7321.0, abs=1e-6, rel=0)


def test_without_a_control_the_meter_is_all_there_is() -> None:
    coil = coil_resistance(JackReading(6400.0, 64.0, None, temperature_u_c=0.0))
    assert isinstance(coil, Coil)
    assert (coil.resistance_ohm, coil.u_ohm, coil.from_pot_ohm) == (6400.0, 64.0, 0.0)


def test_what_lies_in_series_comes_off() -> None:
    coil = coil_resistance(exact(6240.2496 + 47.0, 250e3, series_ohm=47.0))
    assert isinstance(coil, Coil)
    assert coil.resistance_ohm == pytest.approx(6400.0, abs=0.01, rel=0)


def test_propagation_is_that_of_monte_carlo() -> None:
    # JCGM 101 as the judge of JCGM 100 eq. 10; inputs as stated in the docstring.
    jack = JackReading(12_500.0, 40.0, 250e3, 0.20, 120.0, 15.0, 12.0, 3.0)
    coil = coil_resistance(jack)
    assert isinstance(coil, Coil)
    rng = np.random.default_rng(31)
    n = 400_000
    reading = rng.normal(12_500.0, 40.0, n) - rng.normal(120.0, 15.0, n)
    pot = 250e3 * rng.uniform(0.8, 1.2, n)
    coils = reading * pot / (pot - reading) / (1.0 + 0.00393 * (rng.normal(12.0, 3.0, n) - 20.0))
    assert coil.u_ohm == pytest.approx(float(coils.std()), abs=0.03 * coil.u_ohm, rel=0)
    assert coil.resistance_ohm == pytest.approx(float(coils.mean()), abs=0.1 * coil.u_ohm, rel=0)
    parts = (coil.from_reading_ohm, coil.from_pot_ohm, coil.from_series_ohm, coil.from_temperature_ohm)
    assert math.hypot(*parts) == pytest.approx(coil.u_ohm, rel=0, abs=1e-9)
    assert min(parts) > 0.0


def test_words_name_what_most_of_the_uncertainty_comes_from() -> None:
    from_meter = coil_words(Coil(6500.0, 50.0, 49.0, 5.0, 5.0, 5.0))
    assert from_meter == "6500 ohm at 20 °C (95 %: +- 98, mostly from the meter)"
    assert "mostly from the control's tolerance" in coil_words(Coil(6500.0, 50.0, 10.0, 48.0, 0.0, 10.0))
    assert coil_words(Coil(6500.0, 50.0, 30.0, 25.0, 18.0, 26.0)) == "6500 ohm at 20 °C (95 %: +- 98)"
    assert coil_words(Coil(6500.0, 0.0, 0.0, 0.0, 0.0, 0.0)).endswith("+- 0)")


def test_each_input_has_its_own_sensitivity() -> None:
    # Against central differences of the formula, on a coil that is large beside its control.
    jack = JackReading(60e3, 50.0, 250e3, 0.1, 500.0, 20.0, 30.0, 1.5)
    coil = coil_resistance(jack)
    assert isinstance(coil, Coil)

    def slope(name: str, step: float) -> float:
        ends = []
        for sign in (1.0, -1.0):
            moved = coil_resistance(dataclasses.replace(jack, **{name: getattr(jack, name) + sign * step}))
            assert isinstance(moved, Coil)
            ends.append(moved.resistance_ohm)
        return abs(ends[0] - ends[1]) / (2.0 * step)

    expected = [
        slope("reading_ohm", 1.0) * 50.0,
        slope("volume_pot_ohm", 10.0) * 25e3 / np.sqrt(3.0),
        slope("series_ohm", 1.0) * 20.0,
        slope("temperature_c", 0.01) * 1.5,
    ]
    parts = [coil.from_reading_ohm, coil.from_pot_ohm, coil.from_series_ohm, coil.from_temperature_ohm]
    assert parts == pytest.approx(expected, rel=0, abs=1e-3)


@pytest.mark.parametrize("reading_ohm", [200e3, 249e3, 250e3, 3e5])
def test_an_open_coil_is_refused_and_not_reckoned(reading_ohm: float) -> None:
    refused = coil_resistance(JackReading(reading_ohm, 10.0))
    assert isinstance(refused, NoCoil)
    assert "no coil" in refused.reason
    assert refused.advice


@pytest.mark.parametrize(
    ("low", "high", "word"),
    [
        (6000.0, 7000.0, "inside"),
        (7000.0, 8000.0, "below"),
        (5000.0, 6000.0, "above"),
        (6450.0, 7000.0, "cannot tell"),
        (6000.0, 6550.0, "cannot tell"),
        (6550.0, 7000.0, "cannot tell"),  # its lower end is out of reach, its upper is not
        (6000.0, 6450.0, "cannot tell"),
    ],
)
def test_against_the_stated_range(low: float, high: float, word: str) -> None:
    standing, text = compare_with_stated(Coil(6500.0, 50.0, 50.0, 0.0, 0.0, 0.0), low, high)
    assert standing == word
    assert "6500 ohm" in text


@pytest.mark.parametrize(
    "bad",
    [
        {"reading_ohm": 0.0},
        {"reading_ohm": -5.0},
        {"reading_ohm": float("nan")},
        {"reading_ohm": "6k4"},
        {"reading_u_ohm": -1.0},
        {"volume_pot_ohm": 0.0},
        {"pot_tolerance": 1.0},
        {"temperature_c": 300.0},
        {"temperature_u_c": float("inf")},
        {"series_ohm": -1.0},
    ],
)
def test_misuse_names_the_argument(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=f"{next(iter(bad))}="):
        dataclasses.replace(JackReading(6400.0, 10.0), **bad)


def test_a_reading_below_its_series_part_is_misuse() -> None:
    with pytest.raises(ValueError, match="reading_ohm=40"):
        JackReading(40.0, 1.0, series_ohm=50.0)
    with pytest.raises(ValueError, match="high_ohm=5000"):
        compare_with_stated(Coil(6500.0, 1.0, 1.0, 0.0, 0.0, 0.0), 6000.0, 5000.0)
