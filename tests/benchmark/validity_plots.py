"""Plots of what validity_views measured: relief errors with their 95 % intervals against each condition.

    pip install ".[benchmark]"
    python -m tests.benchmark.validity_plots views.json FOLDER

Every measurement is two points, bass and treble; refused ones are crosses on the lower edge.
"""

import argparse
import json
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tests.benchmark.known_neck import SIDES, Record
from tests.benchmark.validity_views import ANGLES, TYPED_WIDTHS, USUAL_FRONT_DEG, USUAL_PAIR, by_group

COVERAGE_95 = 1.96
APART = {"bass": -0.012, "treble": 0.012}  # of the axis, so that the two sides do not hide each other
COLOURS = {"with front": "#1b6f8a", "no front": "#c7762b"}


def plot(ax: Axes, rows: list[Record], numbers: list[float], ticks: list[str] | None = None) -> None:
    """Errors of `rows` at `numbers` along the axis, named by `ticks` if given."""
    width = max(numbers) - min(numbers) or 1.0
    to_axis = ax.get_xaxis_transform()  # x in data, y as a share of the axis
    shown = set()
    for row, number in zip(rows, numbers, strict=True):
        label = "no front" if row["front_deg"] is None else "with front"
        if row["status"] == "refused":
            ax.plot(number, 0.06 if label == "no front" else 0.02, "x", color=COLOURS[label], transform=to_axis)
            continue
        for side in SIDES:
            error, u = row["relief"][side]
            at = number + width * (APART[side] + (0.006 if label == "no front" else 0.0))
            ax.errorbar(at, error, COVERAGE_95 * u, fmt="o" if side == "bass" else "s", markersize=4,
                        color=COLOURS[label], elinewidth=1, label=None if label in shown else label)
            shown.add(label)
    ax.axhline(0.0, color="#888888", linewidth=0.8)
    ax.set_ylabel("relief error, mm")
    if ticks is not None:
        ax.set_xticks(numbers, ticks, rotation=60, ha="right", fontsize=7)
    if shown:
        ax.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, frameon=False, fontsize=8)


def figures(rows: list[Record]) -> dict[str, Figure]:
    """One figure a condition, by file name."""
    angle_rows = [row for row in rows if row["group"] == ANGLES]
    usual_angle = float(USUAL_PAIR.removeprefix("angle"))
    chosen = {
        "view angle of the low views, degrees":
            [row for row in angle_rows if row["front_deg"] in (None, USUAL_FRONT_DEG)],
        "height of the front view, degrees":
            [row | {"number": row["front_deg"]} for row in angle_rows
             if row["number"] == usual_angle and row["front_deg"] is not None],
    } | {group: mine for group, mine in by_group(rows).items() if group != ANGLES}
    made = {}
    for name, mine in chosen.items():
        if not mine:
            continue  # not among the groups measured
        named = name in ("board, lamp", TYPED_WIDTHS)
        figure = Figure(figsize=(7.0, 5.0 if named else 3.6), layout="constrained")
        ax = figure.subplots()
        if named:
            places = [float(i) for i in range(len(mine))]
            plot(ax, mine, places, [row["value"] for row in mine])
        else:
            plot(ax, mine, [row["number"] for row in mine])
        ax.set_xlabel(name)
        made[name.split(",")[0].replace(" ", "_").replace("'", "")] = figure
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rows", type=Path, help="written by validity_views")
    parser.add_argument("folder", type=Path)
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for name, figure in figures(json.loads(options.rows.read_text())).items():
        figure.savefig(options.folder / f"{name}.svg")


if __name__ == "__main__":
    main()
