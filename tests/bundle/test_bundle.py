"""What a clinic without a network installs from: the wheel is whole, the bundle refuses in time."""

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from app.places import ROOT
from tests.sampling import WHOLE

PARTS = {"app": "app", "templates": "app/templates", "static": "app/static",
         "seed_demo": "app/seed_demo"}  # fmt: skip


def script(name: str) -> ModuleType:
    """A module of script/, which is no package."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "script" / f"{name}.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


write_bundle = script("write_bundle")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The program's own wheel."""
    made: Path = write_bundle.build_wheel(tmp_path_factory.mktemp("wheel"))
    return made


def test_the_wheel_carries_every_part(wheel: Path) -> None:
    """A page without its template, or a rule that is not there, is found out by a patient."""
    with zipfile.ZipFile(wheel) as opened:
        held = {name for name in opened.namelist() if name.startswith("app/")}
    wanted = {
        f"{there}/{file.relative_to(ROOT / here).as_posix()}"
        for here, there in PARTS.items()
        for file in (ROOT / here).rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }

    assert wanted == held
    assert {"app/static/vendor/htmx.min.js", "app/store/migrations/env.py"} <= held


def test_what_is_installed_finds_its_parts_and_the_clinics_settings(
    wheel: Path, tmp_path: Path
) -> None:
    """Not those of a checkout beside it; .env is looked for beside the virtual environment."""
    site, prefix = tmp_path / "site", tmp_path / "clinic" / ".venv"
    with zipfile.ZipFile(wheel) as opened:
        opened.extractall(site)
    asked = (
        "import sys; sys.prefix = sys.argv[1]\n"
        "from app.places import DEMO, ROOT, STATIC, TEMPLATES\n"
        "print(DEMO, STATIC, TEMPLATES, ROOT, sep='\\n')"
    )
    done = subprocess.run(
        [sys.executable, "-P", "-c", asked, str(prefix)],
        check=True, capture_output=True, text=True, cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(site)},
    )  # fmt: skip

    parts = [site / "app" / name for name in ("seed_demo", "static", "templates")]
    assert [*map(str, parts), str(tmp_path / "clinic")] == done.stdout.splitlines()


@pytest.fixture
def bundle(tmp_path: Path) -> Path:
    """A bundle without its wheels, which come last."""
    made = tmp_path / "evenhand-bundle"
    (made / "wheels").mkdir(parents=True)
    (made / "wheels" / "evenhand.whl").write_text("none")
    shutil.copy(ROOT / "script" / "bundle_install.py", made / "install")
    pack(made, write_bundle.manifest())
    return made


def pack(bundle: Path, about: dict[str, object]) -> None:
    """Say what the bundle is, and its checksums."""
    (bundle / "bundle.json").write_text(json.dumps(about))
    write_bundle.write_sums(bundle)


def installed(bundle: Path, folder: Path, *more: str) -> tuple[int, str]:
    """How the install command ended, and what it said."""
    done = subprocess.run(
        [sys.executable, str(bundle / "install"), str(folder), *more],
        check=False, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    return done.returncode, done.stdout


def damaged(bundle: Path, folder: Path) -> None:
    (bundle / "wheels" / "evenhand.whl").write_text("nine")


def lost(bundle: Path, folder: Path) -> None:
    (bundle / "wheels" / "evenhand.whl").unlink()


def without_library(bundle: Path, folder: Path) -> None:
    pack(bundle, write_bundle.manifest() | {"libraries": {"libnowhere.so.9": "libnowhere9"}})


def for_another_python(bundle: Path, folder: Path) -> None:
    pack(bundle, write_bundle.manifest() | {"python": "3.99"})


def with_something_else(bundle: Path, folder: Path) -> None:
    folder.mkdir()
    (folder / "photographs").mkdir()


def with_a_checkout(bundle: Path, folder: Path) -> None:
    (folder / ".venv").mkdir(parents=True)


def with_a_file(bundle: Path, folder: Path) -> None:
    folder.touch()


REFUSALS: tuple[tuple[Callable[[Path, Path], None], str], ...] = (
    (damaged, "wheels/evenhand.whl is not the file that was packed"),
    (lost, "wheels/evenhand.whl: No such file"),
    (without_library, "apt-get install --no-install-recommends libnowhere9"),
    (for_another_python, "this bundle is for Python 3.99"),
    (with_something_else, "holds something else (photographs)"),
    (with_a_checkout, "was installed in another way"),
    (with_a_file, "is not a folder"),
)


@pytest.mark.parametrize(
    ("spoil", "says"), REFUSALS, ids=lambda each: getattr(each, "__name__", "")
)
def test_what_cannot_end_well_is_not_begun(
    bundle: Path, tmp_path: Path, spoil: Callable[[Path, Path], None], says: str
) -> None:
    """Each refusal names what is wrong and what to do, and leaves the folder as it was."""
    folder = tmp_path / "opt"
    spoil(bundle, folder)
    before = sorted(tmp_path.rglob("*"))

    status, said = installed(bundle, folder)

    assert 1 == status
    assert says in said
    assert said.endswith("Nothing was changed.\n")
    assert before == sorted(tmp_path.rglob("*"))


def test_a_check_changes_nothing(bundle: Path, tmp_path: Path) -> None:
    """An administrator looks first, also where settings already lie."""
    folder = tmp_path / "opt"
    folder.mkdir()
    (folder / ".env").write_text("EVENHAND_CLINIC=Hill Clinic\n")

    assert (0, f"{folder}: can be installed\n") == installed(bundle, folder, "--check")
    assert [folder / ".env"] == list(folder.iterdir())


def test_the_same_files_give_the_same_archive(bundle: Path, tmp_path: Path) -> None:
    """Whoever packs the same commit can hold their archive against ours."""
    first = write_bundle.packed(bundle, tmp_path / "first")
    for each in bundle.rglob("*"):
        os.utime(each, (0, 0))
        each.chmod(0o700)
    second = write_bundle.packed(bundle, tmp_path / "second")

    assert first.read_bytes() == second.read_bytes()
    with tarfile.open(first) as tar:
        modes = {each.name.partition("/")[2]: f"{each.mode:o}" for each in tar}
    assert ("755", "644") == (modes["install"], modes["wheels/evenhand.whl"])


@pytest.mark.skipif(not WHOLE, reason="two minutes, and a package index: EVENHAND_TEST_WHOLE=1")
def test_an_exam_is_signed_where_nothing_leads_out(tmp_path: Path) -> None:
    """The whole way of a hospital without internet; a broken new version changes nothing."""
    apart = ["unshare", "--map-root-user", "--net"]
    if shutil.which("unshare") is None or subprocess.run([*apart, "true"], check=False).returncode:
        missing = "this machine makes no namespace of the network (unshare --map-root-user --net)"
        if os.environ.get("EVENHAND_REQUIRE_ALL") == "1":
            pytest.fail(missing)
        pytest.skip(missing)
    subprocess.run([ROOT / "script" / "bundle", "--output", tmp_path], check=True)
    (archive,) = tmp_path.glob("*.tar.gz")
    with tarfile.open(archive) as tar:
        tar.extractall(tmp_path, filter="data")
    (unpacked,) = (each for each in tmp_path.iterdir() if each.is_dir())
    folder = tmp_path / "opt" / "evenhand"

    walked = subprocess.run(
        [*apart, sys.executable, "-m", "tests.bundle.walk", unpacked, folder],
        check=False, capture_output=True, text=True, cwd=ROOT,
    )  # fmt: skip
    assert 0 == walked.returncode, walked.stderr
    seen = json.loads(walked.stdout)

    assert "Network is unreachable" == seen["elsewhere"]
    assert (0, 0, 0, 200) == (
        seen["installed"][0], seen["verified"][0], seen["again"][0], seen["htmx"]
    )  # fmt: skip
    assert "docs/deploy/README.md" in seen["installed"][1]
    assert "already" in seen["again"][1]
    assert "/page.pdf: unaltered." in seen["verified"][1]
    assert Path(seen["page"]).read_bytes().startswith(b"%PDF")

    running = (folder / ".venv").readlink()
    (unpacked / "requirements.lock").write_text("nowhere==1 --hash=sha256:00\n")
    pack(unpacked, write_bundle.manifest() | {"version": "9"})
    status, said = installed(unpacked, folder)

    assert 1 == status
    assert "nowhere" in said
    assert running == (folder / ".venv").readlink()
    assert {".env", ".venv", "data", "docs", running.name} == {e.name for e in folder.iterdir()}
