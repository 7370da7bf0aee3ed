"""Files put on the page in a real browser: too large is said at once, and each gets its verdict."""

from pathlib import Path

from playwright.sync_api import expect

from tests.web.clinic import Clinic
from tests.web.test_axe import faults
from tests.web.test_verify import sign
from tests.web.visitor import Visitor


def test_files_are_checked_and_large_ones_are_not_even_sent(
    visitor: Visitor, clinic: Clinic, tmp_path: Path
) -> None:
    """Without the script the server refuses them, after they have been sent."""
    exam_id = clinic.new_exam()
    assert 303 == sign(clinic, exam_id).status_code
    signed = clinic.get(f"/exams/{exam_id}/pdf").content
    files = {"good": signed, "changed": signed + b"%x\n", "other": b"no", "big": bytes(21 << 20)}
    for name, content in files.items():
        (tmp_path / f"{name}.pdf").write_bytes(content)
    page = visitor.page
    page.goto("/verify")
    chosen = page.get_by_label("PDF files")
    chosen.set_input_files(tmp_path / "big.pdf")
    page.get_by_role("button", name="Check").click()

    expect(page.locator("#files-fault")).to_have_text("These files are larger than 20 MB together.")
    expect(page.get_by_role("heading", name="UNKNOWN")).to_have_count(0)
    chosen.set_input_files([tmp_path / f"{name}.pdf" for name in ("good", "changed", "other")])
    expect(page.locator("#files-fault")).to_have_text("")
    page.get_by_role("button", name="Check").click()
    expect(page.locator("main h2")).to_have_text(
        ["UNALTERED good.pdf", "ALTERED changed.pdf", "UNKNOWN other.pdf"]
    )
    assert [] == faults(page)
