"""A pair of hands at a page: does what it says, and counts it."""

from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page

from benchmarks.hands.model import Count

# The cell of the sheet that has the focus: its finding and its side.
FOCUSED_CELL = """() => {
  const cell = document.activeElement.closest("[data-save=cell]");
  return cell ? [cell.dataset.finding, cell.dataset.side] : ["", ""];
}"""


@dataclass
class Hand:
    """The hands of one person. at_mouse: where the right hand is."""

    page: Page
    count: Count = field(default_factory=Count)
    at_mouse: bool = False

    def think(self) -> None:
        """Decide what comes next."""
        self.count.thoughts += 1

    def press(self, *keys: str) -> None:
        """Press keys one after the other."""
        self._home(at_mouse=False)
        for key in keys:
            self.page.keyboard.press(key)
        self.count.keys += len(keys)

    def type(self, text: str) -> None:
        """Type a text."""
        self._home(at_mouse=False)
        self.page.keyboard.type(text)
        self.count.keys += len(text)

    def click(self, target: Locator) -> None:
        """Point at something with the mouse and press its button."""
        self._home(at_mouse=True)
        target.click()
        self.count.points += 1
        self.count.keys += 1

    def tap(self, target: Locator) -> None:
        """Move a thumb to something and touch it."""
        target.tap()
        self.count.points += 1
        self.count.keys += 1

    def swipe(self, target: Locator) -> None:
        """Bring something into view with the thumb."""
        target.evaluate("element => element.scrollIntoView()")
        self.count.points += 1

    @property
    def cell(self) -> tuple[str, str]:
        """The cell that has the focus."""
        finding, side = self.page.evaluate(FOCUSED_CELL)
        return finding, side

    def _home(self, *, at_mouse: bool) -> None:
        if self.at_mouse != at_mouse:
            self.count.homes += 1
        self.at_mouse = at_mouse
