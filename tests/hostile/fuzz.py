"""Open thousands of hostile files as the program would, and report what became of them.

    python -m tests.hostile.fuzz --files 10000 --seed 1

Promises: no crash, no hang beyond 30 s, no memory above 1.5 GB, never "measured", every refusal with its reason
and advice. Exit status 1 when one was broken. The same seed and number make the same file again: `--only NUMBER`.
"""

import argparse
import math
import sys
import time
from collections import Counter
from collections.abc import Iterable, Sequence

from tests.hostile.watch import Child, Result

_SAID_EVERY = 500


def run(seed: int, numbers: Iterable[int], most_minutes: float = math.inf) -> list[Result]:
    """Run the cases of these numbers one after the other in a watched child process, until the time is over."""
    results: list[Result] = []
    until = time.monotonic() + 60.0 * most_minutes
    with Child(seed) as child:
        for count, number in enumerate(numbers, 1):
            if time.monotonic() > until:
                print(f"stopped after {len(results)} files: the time is over", file=sys.stderr)
                break
            results.append(child.run(number))
            if results[-1].failure:
                print(f"case {number}: {results[-1].kind}: {results[-1].failure}", file=sys.stderr, flush=True)
            if count % _SAID_EVERY == 0:
                print(f"{count} files", file=sys.stderr, flush=True)
    return results


def table(results: Sequence[Result]) -> str:
    """One row a kind: files, what became of them, longest time, most memory, promises broken."""
    lines = ["kind | files | became | longest, s | most memory, MiB | broken", "--- | --- | --- | --- | --- | ---"]
    for kind in sorted({result.kind for result in results}):
        rows = [result for result in results if result.kind == kind]
        became = ", ".join(f"{name} {n}" for name, n in Counter(row.became for row in rows).most_common())
        longest, most = max(row.seconds for row in rows), max(row.peak_mib for row in rows)
        broken = sum(row.failure is not None for row in rows)
        lines.append(f"{kind} | {len(rows)} | {became} | {longest:.1f} | {most:.0f} | {broken}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command. Returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=math.inf, help="stop after that long")
    parser.add_argument("--only", type=int, help="run the one case of this number")
    options = parser.parse_args(arguments)
    results = run(options.seed, range(options.files) if options.only is None else [options.only], options.minutes)
    print(table(results))
    return int(any(result.failure for result in results))


if __name__ == "__main__":
    sys.exit(main())
