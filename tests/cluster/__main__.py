"""`script/cluster`: the exam across the servers, told in a line; or the servers to be tried."""

import argparse
import json
import signal
import sys
from contextlib import suppress
from threading import Event

from _pytest.outcomes import OutcomeException

from tests.cluster.day import add_members_to, run
from tests.cluster.machines import Machines, machines
from tests.web.clinic import MEMBERS, PASSWORD


def main() -> int:
    """Run it, and end with 1 where anything was lost."""
    parser = argparse.ArgumentParser(
        prog="script/cluster",
        description="Starts PostgreSQL, two app servers and nginx in a temporary folder, and has "
        "two people record, review and sign one exam across them while an app server is killed. "
        "The last line tells what was kept as JSON. Example: script/cluster --long",
    )
    parser.add_argument(
        "--long", action="store_true", help="1,000 entries, ten kills, two processes a server"
    )
    parser.add_argument("--keep", action="store_true", help="stay up for a person to try it")
    asked = parser.parse_args()
    # However it is ended, what it started ends with it.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    try:
        with machines(workers=2 if asked.long else 1) as at:
            if asked.keep:
                return _keep(at)
            outcome = run(at, each=50, rounds=10) if asked.long else run(at, each=10, rounds=1)
    except OutcomeException as missing:
        print(f"cluster: {missing.msg}", file=sys.stderr)
        return 2
    print(json.dumps(outcome.as_json()))
    return 0 if outcome.is_well else 1


def _keep(at: Machines) -> int:
    """Say where it is, and wait until it is interrupted."""
    add_members_to(at)
    print(f"Open {at.address}; behind it:")
    for each in at.servers:
        print(f"  {each.name} at {each.address}, process {each.running and each.running.pid}")
    print(f"Everybody's password: {PASSWORD}")
    for member in MEMBERS:
        print(f"  {member.sign_in_name} ({member.role})")
    print("Ctrl+C stops all of it and forgets it.", flush=True)
    with suppress(KeyboardInterrupt):
        Event().wait()
    return 0


if __name__ == "__main__":
    sys.exit(main())
