"""The command `neck-sighting`: alone it opens the page, with `measure` it measures photographs.

Exit status: 0 measured, 3 refused (the JSON file still says why), 2 misuse, 130 stopped by Ctrl+C.
"""

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from app import __version__
from app.one_thread import ONE_THREAD
from vision.settings import COMMON_SCALE_LENGTHS_MM, FRETS_MAX, FRETS_MIN, StatedNeck

EXIT_MEASURED, EXIT_MISUSE, EXIT_REFUSED = 0, 2, 3
EXIT_STOPPED = 128 + signal.SIGINT  # as shells report it


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command with argv (without the program's name) and return its exit status."""
    for name, value in ONE_THREAD.items():
        os.environ.setdefault(name, value)
    parser = build_parser()
    options = parser.parse_args(argv)
    if options.command is None:
        from app.serve import run_page

        return run_page(options.port, options.sample)
    try:
        stated = StatedNeck(
            scale_length_mm=options.scale_length,
            frets=options.frets,
            left_handed=options.left_handed,
            nut_width_mm=options.nut_width,
            width_at_12_mm=options.width_at_12,
            width_u_mm=options.width_uncertainty,
        )
    except ValueError as error:
        return misuse(str(error))
    try:
        return _measure(options, stated)
    except KeyboardInterrupt as stop:  # while it loads, too
        print(f"neck-sighting: stopped, {str(stop) or 'nothing was measured'}", file=sys.stderr)
        return EXIT_STOPPED


def _measure(options: argparse.Namespace, stated: StatedNeck) -> int:
    from app.processes import start_workers

    if all(path.is_file() for path in options.photos):  # misuse need not wait for processes to end
        start_workers(len(options.photos), here=True)  # they load while this process does
    from app.measure_command import MisuseError, measure_to_files

    try:
        status = measure_to_files(options.photos, stated, options.json, options.overlay)
    except MisuseError as error:
        return misuse(str(error))
    return EXIT_MEASURED if status == "measured" else EXIT_REFUSED


def misuse(message: str) -> int:
    """Say in one line what is wrong with the call."""
    print(f"neck-sighting: error: {message}", file=sys.stderr)
    return EXIT_MISUSE


def build_parser() -> argparse.ArgumentParser:
    """The command line, after the contract."""
    parser = argparse.ArgumentParser(
        prog="neck-sighting",
        description="Relief, twist and uneven frets of a guitar neck from two or three photographs. "
        "Without a command it opens the page in the browser.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"neck-sighting {__version__}")
    parser.add_argument("--port", type=port_number, default=8501, help="port of the page (default 8501)")
    parser.add_argument(
        "--sample",
        nargs="?",
        const="forward_bow",
        metavar="NAME",
        choices=("forward_bow", "back_bow", "twist"),
        help="open the page on a sample neck: forward_bow (default), back_bow or twist",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    measure = commands.add_parser(
        "measure",
        allow_abbrev=False,
        help="measure one neck from its photographs",
        description="Measure one neck from photographs of any kind in any order: one along each outer string "
        "and one from the front. Exit status: 0 measured, 3 refused, 2 misuse.",
    )
    measure.add_argument("photos", nargs="+", type=Path, metavar="PHOTO", help="JPEG, PNG, WebP or HEIC")
    common = ", ".join(f"{length:g}" for length in COMMON_SCALE_LENGTHS_MM)
    measure.add_argument(
        "--scale-length", type=float, required=True, metavar="MM", help=f"in mm; common: {common}"
    )
    measure.add_argument(
        "--frets", type=int, required=True, metavar="N", help=f"number of frets, {FRETS_MIN} to {FRETS_MAX}"
    )
    measure.add_argument("--left-handed", action="store_true", help="a left-handed (mirrored) instrument")
    measure.add_argument("--nut-width", type=float, metavar="MM", help="board at the nut, edge to edge, as measured")
    measure.add_argument("--width-at-12", type=float, metavar="MM", help="board at fret 12, edge to edge, as measured")
    measure.add_argument(
        "--width-uncertainty",
        type=float,
        metavar="MM",
        default=0.1,
        help="standard uncertainty of the two widths (default 0.1)",
    )
    measure.add_argument("--json", type=Path, required=True, metavar="FILE", help="where the result goes")
    measure.add_argument(
        "--overlay", type=Path, metavar="FOLDER", help="write each photograph with what was seen"
    )
    return parser


def port_number(text: str) -> int:
    """A port number from 1 to 65535, for argparse."""
    port = int(text)
    if not 1 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"{text} is not a port number from 1 to 65535")
    return port


if __name__ == "__main__":
    sys.exit(main())
