"""python -m bench.other_physics --seed 1 --count 720 --out FILE"""

import argparse
import json
import time

from .population import population


def main() -> None:
    parser = argparse.ArgumentParser(
        prog="python -m bench.other_physics", description="Simulate vehicles and write sheets."
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=720)
    parser.add_argument("--out", required=True)
    a = parser.parse_args()
    start = time.perf_counter()
    records, misses = population(a.seed, a.count)
    with open(a.out, "w", encoding="utf-8", newline="\n") as out:
        for r in records:
            out.write(json.dumps(r, ensure_ascii=False, separators=(",", ":")) + "\n")
    print(
        f"{len(records)} sheets in {time.perf_counter() - start:.0f} s; not solved and drawn again: {misses or 'none'}"
    )


if __name__ == "__main__":
    main()
