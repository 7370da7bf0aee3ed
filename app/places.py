"""Where the parts lie that are no Python, and where a clinic keeps what is its own.

In a checkout the parts lie beside the package; the wheel carries them in it (pyproject.toml).
"""

import sys
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_IS_INSTALLED = (_PACKAGE / "templates").is_dir()

PARTS = _PACKAGE if _IS_INSTALLED else _PACKAGE.parent
TEMPLATES = PARTS / "templates"
STATIC = PARTS / "static"
DEMO = PARTS / "seed_demo"

# Where .env is read and data/ is made unless told otherwise: the checkout, or the folder that holds
# the virtual environment. A new version is installed beside the old one and finds the same.
ROOT = Path(sys.prefix).parent if _IS_INSTALLED else _PACKAGE.parent
