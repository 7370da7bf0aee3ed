"""The second factor: six digits that an authenticator program shows, new every 30 seconds.

Source: RFC 6238 (memory): steps of 30 seconds, SHA-1, and no code accepted twice (5.2).
"""

from datetime import datetime

import pyotp
import segno

from app.people.tokens import same

DIGITS = 6
STEP_SECONDS = 30
# Steps by which the two clocks may differ. Source: RFC 6238, 5.2 (memory), which recommends one.
STEPS_APART = 1
PRODUCT = "Evenhand"


def new_secret() -> str:
    """A new secret of 160 random bits, in base 32, as it can also be typed by hand."""
    return pyotp.random_base32()


def uri(secret: str, sign_in_name: str, clinic: str) -> str:
    """The secret as an authenticator program reads it; clinic "" leaves the product's name."""
    return pyotp.TOTP(secret).provisioning_uri(name=sign_in_name, issuer_name=clinic or PRODUCT)


def qr_svg(uri: str) -> str:
    """The address as a QR code: an SVG for the page, without style attributes.

    It takes the width that the page gives it, and stays dark on light in every theme.
    """
    code = segno.make_qr(uri)
    return code.svg_inline(omitsize=True, light="#fff", svgclass="qr", lineclass=None)


def accepted_step(secret: str, code: str, now: datetime, last_step: int | None) -> int | None:
    """The time step whose code this is, or None.

    last_step: the step used last; it and those before are never accepted, so no code works twice,
    also where the clock went back. Spaces in the code do not count.
    """
    typed = "".join(code.split())
    totp = pyotp.TOTP(secret, digits=DIGITS, interval=STEP_SECONDS)
    current = int(now.timestamp()) // STEP_SECONDS
    steps = range(current - STEPS_APART, current + STEPS_APART + 1)
    # The latest: were it also the code of an earlier step, it could be used a second time.
    fresh = [step for step in steps if last_step is None or step > last_step]
    right = [step for step in fresh if same(totp.generate_otp(step), typed)]
    return max(right, default=None)
