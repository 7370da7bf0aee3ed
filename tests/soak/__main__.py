"""`script/soak`: how often everything was killed, and what was lost, in a line."""

import argparse
import json
import secrets
import signal
import sys
import time
from collections import Counter

from _pytest.outcomes import OutcomeException

from tests.soak.run import Outcome, soak

KINDS = ("sqlite", "postgresql")


def main() -> int:
    """Run it, and end with 1 where anything was lost or half written."""
    parser = argparse.ArgumentParser(
        prog="script/soak",
        description="Kills the server, and PostgreSQL too, with SIGKILL at random moments while "
        "two nurses and two physicians record, review, sign and amend, and compares what they were "
        "told with the database. The last line is JSON. Example: script/soak --kills 20",
    )
    parser.add_argument("--kills", type=int, default=500, help="in all (500)")
    parser.add_argument("--database", choices=(*KINDS, "both"), default="both")
    parser.add_argument("--seed", type=int, help="of an earlier run, for the same moments")
    asked = parser.parse_args()
    # However it is ended, what it started ends with it.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    seed = secrets.randbelow(1_000_000) if asked.seed is None else asked.seed
    print(f"seed {seed}", flush=True)
    kinds = KINDS if asked.database == "both" else (asked.database,)
    shares = {kind: asked.kills // len(kinds) for kind in kinds}
    shares[kinds[0]] += asked.kills - sum(shares.values())
    began, whole = time.monotonic(), Outcome()
    try:
        for kind, outcome in soak(shares, seed):
            _add(whole, outcome)
            seconds = round(time.monotonic() - began)
            print(f"{seconds:5} s  {kind}: {_words(outcome)}", flush=True)
    except OutcomeException as missing:
        print(f"soak: {missing.msg}", file=sys.stderr)
        return 2
    for fault in (*whole.lost, *whole.untold, *whole.half_written):
        print(f"soak: {fault}", file=sys.stderr)
    print(json.dumps(_as_json(whole, seed, round(time.monotonic() - began))))
    return 0 if whole.is_well else 1


def _add(whole: Outcome, part: Outcome) -> None:
    whole.kills += part.kills
    whole.acts += part.acts
    whole.lost += part.lost
    whole.untold += part.untold
    whole.half_written += part.half_written
    whole.unanswered += part.unanswered
    whole.not_signed += part.not_signed


def _words(part: Outcome) -> str:
    return (
        f"{part.kills.total()} kills, {part.acts.total()} acts acknowledged, "
        f"{len(part.lost)} lost, "
        f"{len(part.half_written)} half written, {part.unanswered} requests cut off"
    )


def _as_json(whole: Outcome, seed: int, seconds: int) -> dict[str, object]:
    def sorted_(counts: Counter[str]) -> dict[str, int]:
        return dict(sorted(counts.items()))

    return {
        "kills": whole.kills.total(),
        "acknowledged": whole.acts.total(),
        "lost": len(whole.lost),
        "half_written": len(whole.half_written),
        "untold": len(whole.untold),
        "cut_off": whole.unanswered,
        "not_signed": whole.not_signed,
        "killed": sorted_(whole.kills),
        "acts": sorted_(whole.acts),
        "seed": seed,
        "seconds": seconds,
    }


if __name__ == "__main__":
    sys.exit(main())
