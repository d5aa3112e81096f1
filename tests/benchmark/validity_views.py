"""Where the measurement holds: view angles, heights of the front view, boards and lamps, hidden frets, typed widths.

    python -m sample_images.scenes.build SCENES --validity --seed 1
    python -m tests.benchmark.validity_views SCENES --out views.json --table views.md --jobs 8

Measures every combination of photographs of one rendered neck (see sample_images/scenes/validity_scenes.py), copies
of them with frets covered or fewer pixels, and the sample necks with widths typed in, all against their known truth.
Writes one row a measurement, and a table in Markdown: measured, with errors in mm or degrees and in claimed standard
uncertainties, or refused, with the reason. Not a test: it takes minutes on many cores.
"""

import argparse
import json
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from tests.benchmark.known_neck import SIDES, Picture, Record, compared, spoilt, stated_by_user, truth_up_to
from tests.benchmark.validity_sweep import smaller
from tests.sample_necks import SAMPLES

LOW = ("bass", "treble")
USUAL_PAIR, USUAL_FRONT_DEG = "angle08", 50.0
VISIBLE_FRETS = (12, 14, 16, 18, 20)
SHARES = (0.7, 0.5, 0.35, 0.25, 0.18)
WIDTH_U_MM = (0.1, 0.5)
WIDTH_ERRORS_IN_U = ((0, 0), (1, -1), (-1, 1))  # at the nut and at fret 12; unlike signs bend the taper most
ANGLES = "view angle and height of the front"
TYPED_WIDTHS = "widths typed in, no front"
COVER_RGB = (74, 84, 104)


@dataclass(frozen=True)
class Case:
    """One measurement: photographs (paths without ending), what is done to them, what is stated beside the usual.

    `number` is the condition as a number, for a plot; `front_deg` the height of the photograph from the front. All
    pictures are made smaller to `share` of their size. `visible` frets are left uncovered; `stated_frets` None states
    all. `width_errors_mm` are added to the true widths at the nut and at fret 12, which are stated with
    `width_u_mm`.
    """

    group: str
    value: str
    number: float
    photographs: tuple[Path, ...]
    front_deg: float | None = None
    share: float = 1.0
    visible: int | None = None
    stated_frets: int | None = None
    width_errors_mm: tuple[float, float] | None = None
    width_u_mm: float = 0.1


def cases(scenes: Path) -> Iterator[Case]:
    """All measurements of a folder of rendered scenes, and of the samples with widths typed in."""
    pairs = {p.stem.removesuffix("_bass"): _pair(p.stem.removesuffix("_bass"), scenes)
             for p in sorted(scenes.glob("*_bass.jpg"))}
    fronts = {float(p.stem.removeprefix("height").removesuffix("_front")): (p.with_suffix(""),)
              for p in sorted(scenes.glob("height*_front.jpg"))}
    usual, front = pairs[USUAL_PAIR], fronts[USUAL_FRONT_DEG]
    with_and_without: tuple[tuple[str, tuple[Path, ...], float | None], ...] = (
        ("", front, USUAL_FRONT_DEG), (", no front", (), None))
    for name, pair in pairs.items():
        if name.startswith("angle"):
            angle = float(name.removeprefix("angle"))
            for front_deg, photograph in fronts.items():
                yield Case(ANGLES, f"{angle:g}°, front {front_deg:g}°", angle, pair + photograph, front_deg)
            yield Case(ANGLES, f"{angle:g}°, no front", angle, pair)
    boards = {"dark, soft": usual} | {
        name.removeprefix("board_").replace("_", ", "): pair for name, pair in pairs.items() if name.startswith("board")
    }
    for note, above, height in with_and_without:
        for index, (name, pair) in enumerate(boards.items()):
            yield Case("board, lamp", name + note, index, pair + above, height)
        yield Case("frets visible", f"all{note}", _known(usual[0])["frets"], usual + above, height)
        for visible in VISIBLE_FRETS:
            yield Case("frets visible", f"{visible}, that many stated{note}", visible, usual + above, height,
                       visible=visible, stated_frets=visible)
            yield Case("frets visible", f"{visible}, all stated{note}", visible, usual + above, height, visible=visible)
        for share in SHARES:
            width_px = share * _width_px(_known(usual[0]))
            yield Case("neck's width in the pictures, px", f"{width_px:.0f} px{note}", width_px, usual + above, height,
                       share=share)
    typed = {"rendered": usual} | {
        name: _pair(name, SAMPLES)
        for name in sorted(p.stem.removesuffix("_bass") for p in SAMPLES.glob("*_bass.json"))
        if "board" in _known(SAMPLES / f"{name}_bass")
    }
    for name, pair in typed.items():
        yield Case(TYPED_WIDTHS, f"{name}: not stated", 0.0, pair)
        for u in WIDTH_U_MM:
            for at_nut, at_12 in WIDTH_ERRORS_IN_U:
                yield Case(TYPED_WIDTHS, f"{name}: u {u:g} mm, off by {at_nut:+d} u, {at_12:+d} u", u, pair,
                           width_errors_mm=(at_nut * u, at_12 * u), width_u_mm=u)


def measure(case: Case) -> Record:
    """Run one case: a row for the table."""
    known = _known(case.photographs[0])
    stated = stated_by_user(known)
    if case.stated_frets is not None:
        stated = replace(stated, frets=case.stated_frets)
    if case.width_errors_mm is not None:
        board = known["board"]
        stated = replace(stated, nut_width_mm=board["nut_width_mm"] + case.width_errors_mm[0],
                         width_at_12_mm=board["width_at_12_mm"] + case.width_errors_mm[1], width_u_mm=case.width_u_mm)
    files = {path.name: _file(case, path) for path in case.photographs}
    row = compared(files, stated, truth_up_to(known, stated.frets))
    return {"group": case.group, "value": case.value, "number": case.number, "front_deg": case.front_deg} | row


def _file(case: Case, path: Path) -> bytes:
    data = path.with_suffix(".jpg").read_bytes()
    if case.visible is not None:
        data = spoilt(data, partial(covered, _known(path), case.visible))
    return data if case.share == 1.0 else spoilt(data, partial(smaller, case.share))


def covered(known: Record, visible: int, picture: Picture) -> Picture:
    """A plain cloth over the board from halfway past fret `visible` to beyond its end."""
    bass, treble = (np.array(known["sides"][side]["fret_top_px"]) for side in LOW)
    edge = [(tops[visible - 1] + tops[visible]) / 2.0 for tops in (bass, treble)]
    end = [tops[-1] + 3.0 * (tops[-1] - tops[-2]) for tops in (bass, treble)]
    outside = [0.7 * (b - a) for a, b in (edge, end)]  # past the strings and the board's edges
    corners = [edge[0] - outside[0], edge[1] + outside[0], end[1] + outside[1], end[0] - outside[1]]
    out = picture.copy()
    cv2.fillConvexPoly(out, np.round(corners).astype(np.int32), COVER_RGB, cv2.LINE_AA)
    return out


def _pair(name: str, folder: Path) -> tuple[Path, ...]:
    return tuple(folder / f"{name}_{side}" for side in LOW)


def _known(photograph: Path) -> Record:
    known: Record = json.loads(photograph.with_suffix(".json").read_text())
    return known


def _width_px(known: Record) -> float:
    """Width of the board at fret 12 in the picture."""
    fret_12 = np.array([0.0, 0.0, known["scale_length_mm"] / 2.0])
    distance = float(np.linalg.norm(np.array(known["camera"]["centre"]) - fret_12))
    return float(known["camera"]["f"] * known["board"]["width_at_12_mm"] / distance)


def table(rows: list[Record]) -> str:
    """Markdown: a table for every group, and how many errors lie within two standard uncertainties."""
    lines = []
    for group, mine in by_group(rows).items():
        lines += [f"### {group[0].upper()}{group[1:]}", "",
                  "| condition | outcome | bass error, mm | u | error/u | treble error, mm | u | error/u "
                  "| twist error, deg | u | error/u | left out, flags |", "|---" * 12 + "|"]
        lines += [_line(row) for row in mine]
        lines += ["", _coverage(mine), ""]
    return "\n".join([*lines, f"Together: {_coverage(rows)}", ""])


def by_group(rows: list[Record]) -> dict[str, list[Record]]:
    """Rows of each group, in the order of their first rows."""
    groups: dict[str, list[Record]] = {}
    for row in rows:
        groups.setdefault(row["group"], []).append(row)
    return groups


def _line(row: Record) -> str:
    notes = [f"{name}: {reason}" for name, reason in row["left_out"].items()]
    if row["status"] == "refused":
        return f"| {row['value']} | refused: {row['reason']} |" + " |" * 9 + f" {', '.join(row['flags'])} |"
    cells = [f"{error:+.3f} | {u:.3f} | {error / u:+.1f}" for error, u in _errors(row)]
    return f"| {row['value']} | measured | {' | '.join(cells)} | {'; '.join(notes + row['flags'])} |"


def _errors(row: Record) -> list[tuple[float, float]]:
    """Error and u of both reliefs and the twist of a measured row."""
    return [*(tuple(row["relief"][side]) for side in SIDES), tuple(row["twist"])]


def _coverage(rows: list[Record]) -> str:
    measured = np.array([_errors(row) for row in rows if row["status"] == "measured"])
    if not len(measured):
        return f"0 of {len(rows)} measured."
    in_u = np.abs(measured[..., 0] / measured[..., 1])
    relief, twist = in_u[:, :2], in_u[:, 2]
    rms = float(np.sqrt(np.mean(measured[:, :2, 0] ** 2)))
    return (f"{len(measured)} of {len(rows)} measured; relief error rms {rms:.3f} mm, within 2 u "
            f"{100 * np.mean(relief <= 2):.0f} %, worst {relief.max():.1f} u; twist within 2 u "
            f"{100 * np.mean(twist <= 2):.0f} %, worst {twist.max():.1f} u.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scenes", type=Path, help="folder written by sample_images.scenes.build --validity")
    parser.add_argument("--out", type=Path, required=True, help="rows, JSON")
    parser.add_argument("--table", type=Path, help="the table, Markdown; printed otherwise")
    parser.add_argument("--only", default="", help="only groups whose name contains this")
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    wanted = [case for case in cases(options.scenes) if options.only in case.group]
    rows = []
    with ProcessPoolExecutor(options.jobs) as pool:
        for row in pool.map(measure, wanted):
            rows.append(row)
            print(f"{len(rows)} of {len(wanted)}: {row['group']}, {row['value']}: {row['status']}", flush=True)
    options.out.write_text(json.dumps(rows, indent=1))
    if options.table:
        options.table.write_text(table(rows))
    else:
        print(table(rows))


if __name__ == "__main__":
    main()
