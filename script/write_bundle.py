"""Writes the archive from which a clinic installs without a network; see script/bundle."""

import argparse
import gzip
import hashlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
LOCK = "requirements.lock"
# What a clinic reads. docs/ lies whole in it, so that every link between its pages holds.
READ = ("docs", "CHANGELOG.md", "LICENSE", "NOTICE")
SUMS = "SHA256SUMS"
README = """Evenhand {version}, for Python {python} on {platform}.

    sha256sum --check --quiet SHA256SUMS
    ./install /opt/evenhand

It needs no network. What it needs of the system, and what comes next: docs/deploy/offline.md
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the archive and its checksum, and say where."""
    parser = argparse.ArgumentParser(prog="script/bundle")
    parser.add_argument("--wheels", type=Path, help="a folder with the locked wheels")
    parser.add_argument("--output", type=Path, default=ROOT / "dist", help="where it is written")
    asked = parser.parse_args(arguments)
    with TemporaryDirectory(prefix="evenhand-bundle-") as folder:
        bundle = lay_out(Path(folder), asked.wheels)
        archive = packed(bundle, asked.output)
    print(f"{archive}\n{archive.stat().st_size / 1e6:.1f} MB, sha256 {sha256(archive)}")
    return 0


def lay_out(folder: Path, wheels: Path | None) -> Path:
    """Everything of the bundle in a folder of its own, with its checksums."""
    about = manifest()
    bundle = folder / "-".join(
        ("evenhand", about["version"], about["commit"][:7], about["python"], about["platform"])
    )
    (bundle / "wheels").mkdir(parents=True)
    fetch(bundle / "wheels", wheels)
    own = build_wheel(bundle / "wheels")
    lock = (ROOT / LOCK).read_text("utf-8")
    pinned = f"evenhand=={about['version']} \\\n    --hash=sha256:{sha256(own)}\n"
    (bundle / LOCK).write_text(lock + pinned, "utf-8")
    for name in git("ls-files", "-z", *READ).split("\0"):
        if name:
            (bundle / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, bundle / name)
    shutil.copyfile(ROOT / "script" / "bundle_install.py", bundle / "install")
    (bundle / "README.txt").write_text(README.format(**about), "utf-8")
    (bundle / "bundle.json").write_text(json.dumps(about, indent=2, sort_keys=True) + "\n", "utf-8")
    write_sums(bundle)
    return bundle


def manifest() -> dict[str, Any]:
    """What the bundle is, for which machine, and what it asks of that."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    changed = "-changed" if git("status", "--porcelain").strip() else ""
    return {
        "version": project["version"],
        "commit": git("rev-parse", "HEAD").strip() + changed,
        "python": "{}.{}".format(*sys.version_info),
        "platform": sysconfig.get_platform(),
        "libraries": libraries(),
    }


def libraries() -> dict[str, str]:
    """The system's libraries that are loaded, each with Debian's package for it."""
    lines = (ROOT / "script" / "libraries").read_text("utf-8").splitlines()
    return dict(line.split() for line in lines if not line.startswith("#"))


def fetch(into: Path, wheels: Path | None) -> None:
    """Lay down the locked wheels; their hashes are checked."""
    source = ["--no-index", "--find-links", str(wheels)] if wheels else []
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "download", "-qq"]
    locked = ["--no-deps", "--only-binary", ":all:", "--require-hashes", "-r", str(ROOT / LOCK)]
    subprocess.run([*pip, *locked, *source, "--dest", str(into)], check=True)


def build_wheel(into: Path) -> Path:
    """The program's own wheel, the same bytes from the same files."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(into)],
        check=True,
        cwd=ROOT,
        env=os.environ | {"SOURCE_DATE_EPOCH": str(moment())},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    return next(into.glob("evenhand-*.whl"))


def write_sums(bundle: Path) -> None:
    """The SHA-256 of every other file, as `sha256sum --check` reads it."""
    files = sorted(each for each in bundle.rglob("*") if each.is_file() and each.name != SUMS)
    lines = (f"{sha256(each)}  {each.relative_to(bundle).as_posix()}\n" for each in files)
    (bundle / SUMS).write_text("".join(lines), "utf-8")


def packed(bundle: Path, output: Path) -> Path:
    """The archive and its checksum beside it: names in order, one moment, nobody's account."""
    output.mkdir(parents=True, exist_ok=True)
    archive = output / f"{bundle.name}.tar.gz"
    half = archive.with_suffix(".half")

    def plain(entry: tarfile.TarInfo) -> tarfile.TarInfo:
        entry.mtime, entry.uid, entry.gid, entry.uname, entry.gname = moment(), 0, 0, "", ""
        is_run = entry.isdir() or entry.name == f"{bundle.name}/install"
        entry.mode = 0o755 if is_run else 0o644
        return entry

    # Wheels are compressed already.
    with (
        half.open("wb") as raw,
        gzip.GzipFile("", "wb", compresslevel=1, fileobj=raw, mtime=moment()) as pressed,
        tarfile.open(fileobj=pressed, mode="w", format=tarfile.PAX_FORMAT) as tar,
    ):
        # tarfile itself walks a folder in the order of names.
        tar.add(bundle, bundle.name, filter=plain)
    half.replace(archive)
    said = f"{sha256(archive)}  {archive.name}\n"
    archive.with_name(f"{archive.name}.sha256").write_text(said, "utf-8")
    return archive


def moment() -> int:
    """When the commit was made, in seconds; SOURCE_DATE_EPOCH says otherwise."""
    return int(os.environ.get("SOURCE_DATE_EPOCH") or git("log", "-1", "--format=%ct"))


def sha256(file: Path) -> str:
    """Of a file's bytes."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def git(*words: str) -> str:
    """What git says of this checkout."""
    done = subprocess.run(["git", *words], cwd=ROOT, check=True, capture_output=True, text=True)
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
