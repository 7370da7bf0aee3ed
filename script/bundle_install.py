#!/usr/bin/env python3
"""Install Evenhand from this bundle, without a network: ./install /opt/evenhand

A version is built in a folder of its own, FOLDER/evenhand-VERSION-COMMIT, and FOLDER/.venv is then
pointed at it in one step: whatever fails before leaves what runs as it is. Settings and data in
FOLDER are not touched, and an earlier version stays there until somebody removes it.

Python's standard library and nothing else. script/bundle puts this file into the archive.
"""

import sys

if sys.version_info < (3, 11):
    sys.exit("install: this is Python %d.%d; Evenhand needs 3.11 or newer" % sys.version_info[:2])

import argparse
import ctypes
import fcntl
import hashlib
import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sysconfig
from pathlib import Path

BUNDLE = Path(__file__).resolve().parent
SUMS = "SHA256SUMS"
# Written last into a version's folder; without it the folder is what an interruption left.
WHOLE = "bundle.json"
ACTIVE = ".venv"
GUIDES = "docs"
# What a clinic may have put there before, or keeps there.
OWN = {".env", "data", ACTIVE, GUIDES}
VERSIONS = "evenhand-"


class CannotInstall(Exception):
    """Why nothing was installed, in a sentence that says what to do."""


def main() -> int:
    """Check everything, then build, then switch."""
    parser = argparse.ArgumentParser(
        prog="install",
        description="Install Evenhand from this bundle, or a new version beside an earlier one. "
        "Needs no network. Read on: docs/deploy/offline.md",
    )
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="as in /opt/evenhand")
    parser.add_argument(
        "--check", action="store_true", help="say whether it could be installed; change nothing"
    )
    asked = parser.parse_args()
    # Also a service manager's or a closed terminal's way to end it leaves nothing half-made.
    for each in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(each, lambda *_: sys.exit(1))
    try:
        install(asked.folder.absolute(), only_checks=asked.check)
    except CannotInstall as reason:
        print(f"install: {reason}\nNothing was changed.", file=sys.stderr)
        return 1
    return 0


def install(folder, only_checks):
    """Raises: CannotInstall, with everything as it was."""
    about = json.loads((BUNDLE / "bundle.json").read_text("utf-8"))
    check_sums()
    check_python(about)
    check_libraries(about["libraries"])
    check_folder(folder)
    if only_checks:
        print(f"{folder}: can be installed")
        return
    # Readable for the account that the server runs under, which is not the one that installs.
    os.umask(0o022)
    folder.mkdir(parents=True, exist_ok=True)
    with only_one(folder):
        version = f"{VERSIONS}{about['version']}-{short(about['commit'])}"
        before = (folder / ACTIVE).readlink().name if (folder / ACTIVE).is_symlink() else ""
        if not (folder / version / WHOLE).is_file():
            build(folder / version)
        switch(folder, version)
        say_what_comes_next(folder, version, before)


def short(commit):
    """A commit's first letters, and whether files were changed after it."""
    return commit[:7] + ("-changed" if commit.endswith("-changed") else "")


# ---------------------------------------------------------------- before anything is changed


def check_sums():
    """Every file is the one that was packed."""
    for line in (BUNDLE / SUMS).read_text("utf-8").splitlines():
        wanted, _, name = line.partition("  ")
        try:
            with (BUNDLE / name).open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise CannotInstall(f"{name}: {error.strerror}. Unpack the archive again.") from None
        if found != wanted:
            raise CannotInstall(
                f"{name} is not the file that was packed (its SHA-256 differs from {SUMS}). "
                "Copy and unpack the archive again."
            )


def check_python(about):
    """The wheels are for one Python on one kind of machine."""
    here = "{}.{}".format(*sys.version_info), sysconfig.get_platform()
    wanted = about["python"], about["platform"]
    if here != wanted:
        raise CannotInstall(
            f"this bundle is for Python {wanted[0]} on {wanted[1]}, and this is Python {here[0]} "
            f"on {here[1]}. Run it with that Python (python{wanted[0]} install FOLDER), or make "
            "the bundle on a machine like this one."
        )
    if not (importlib.util.find_spec("venv") and importlib.util.find_spec("ensurepip")):
        raise CannotInstall(
            "this Python cannot make a virtual environment. Install Debian's package "
            f"python{here[0]}-venv."
        )


def check_libraries(libraries):
    """What draws the PDF is loaded from the system."""
    missing = {}
    for library, package in libraries.items():
        try:
            ctypes.CDLL(library)
        except OSError:
            missing[library] = package
    if missing:
        raise CannotInstall(
            f"the system lacks {', '.join(missing)}. Install what holds them, on Debian and "
            f"Ubuntu: apt-get install --no-install-recommends {' '.join(missing.values())}"
        )


def check_folder(folder):
    """A folder of this program, or none yet."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise CannotInstall(f"{folder} is not a folder.")
    if (folder / ACTIVE).exists() and not (folder / ACTIVE).is_symlink():
        raise CannotInstall(
            f"{folder} was installed in another way ({ACTIVE} is not from a bundle). Choose "
            "another folder, or move it aside; keep its .env."
        )
    foreign = sorted(
        each.name
        for each in folder.iterdir()
        if each.name not in OWN and not each.name.startswith(VERSIONS)
    )
    if foreign:
        raise CannotInstall(
            f"{folder} holds something else ({', '.join(foreign[:3])}). Choose a folder that is "
            "empty or not there."
        )


# ---------------------------------------------------------------- building and switching


class only_one:  # noqa: N801 - read as a statement: with only_one(folder)
    """Two at once would each remove what the other builds."""

    def __init__(self, folder):
        self.handle = os.open(folder, os.O_RDONLY)

    def __enter__(self):
        try:
            fcntl.flock(self.handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise CannotInstall("another installation into this folder is running.") from None

    def __exit__(self, *_):
        os.close(self.handle)


def build(target):
    """A whole version in its folder, or none. Its commands hold the folder's name, so it stays."""
    # What an installation left that was killed or lost its power.
    shutil.rmtree(target, ignore_errors=True)
    print(f"installing into {target}")
    try:
        run([sys.executable, "-m", "venv", target])
        packages = ["--no-index", "--find-links", BUNDLE / "wheels", "--only-binary", ":all:"]
        locked = ["--no-deps", "--require-hashes", "-r", BUNDLE / "requirements.lock"]
        pip = [target / "bin" / "python", "-m", "pip", "--disable-pip-version-check"]
        run([*pip, "install", "-qq", *packages, *locked])
        # It starts, knows what it should know, and draws a page.
        run([target / "bin" / "evenhand", "paper", "--clinic", "-", "-o", os.devnull])
        shutil.copytree(BUNDLE / GUIDES, target / GUIDES)
        os.sync()
        shutil.copyfile(BUNDLE / "bundle.json", target / WHOLE)
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        raise


def run(command):
    """A step whose failure says what it said."""
    # No setting of this machine or account for pip, least of all the address of an index.
    ours = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("PIP_", "PYTHON", "EVENHAND_"))
    }
    done = subprocess.run(
        [str(each) for each in command],
        check=False,
        env=ours | {"PIP_CONFIG_FILE": os.devnull},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    if done.returncode:
        raise CannotInstall(f"{command[0]} failed:\n{done.stdout.strip()}")


def switch(folder, version):
    """From here on it is this version that starts: one rename, which happens or does not."""
    point(folder / ACTIVE, version)
    # The units name the guides below FOLDER/docs; these come and go with the version.
    point(folder / GUIDES, f"{ACTIVE}/{GUIDES}")


def point(link, at):
    """Make a link, or turn one, without a moment in which there is none."""
    new = link.with_name(f"{VERSIONS}new-link")
    new.unlink(missing_ok=True)
    new.symlink_to(at)
    new.replace(link)


def say_what_comes_next(folder, version, before):
    """The next step, and the way back."""
    if before == version:
        print(f"{folder / ACTIVE} was {version} already")
        return
    print(f"{folder / ACTIVE} is now {version}")
    if before:
        print(
            "Next: start the server again. The way back, while it is stopped:\n"
            f"    ln -sfnT {before} {folder / ACTIVE}"
        )
    else:
        print(
            f"Next: write {folder / '.env'} and set up the service, from step 3 of\n"
            f"    {folder / GUIDES / 'deploy' / 'README.md'}"
        )


if __name__ == "__main__":
    sys.exit(main())
