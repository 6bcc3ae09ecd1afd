"""A person at the page with a keyboard and nothing else."""

from __future__ import annotations

import json
from pathlib import Path

from playwright.sync_api import Page

BUILD_LIMIT = 600_000  # ms: a slow machine with much else to do


class Keyboard:
    """Presses keys on a page; never a mouse, never a focus set from outside."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def settled(self) -> None:
        """Everything sent was answered."""
        self.page.locator("body:not([data-waiting])").wait_for()  # no script from outside: the page forbids it

    def tab_to(self, selector: str, key: str = "Tab") -> None:
        """Press Tab until something has the focus, as one would; fails where it cannot be reached."""
        for _ in range(200):
            if self.page.evaluate("s => document.activeElement.matches(s)", selector):
                return
            self.page.keyboard.press(key)
        raise AssertionError(f"the keyboard does not reach {selector}")

    def press(self, selector: str) -> None:
        """Go there and press Enter."""
        self.tab_to(selector)
        self.page.keyboard.press("Enter")

    def section(self, name: str) -> None:
        """To another section by its link."""
        self.settled()
        self.tab_to(f'nav a[href$="/{name}"]', "Shift+Tab")
        self.page.keyboard.press("Enter")
        self.page.wait_for_url(f"**/{name}")
        self.settled()

    def type_line(self, text: str) -> None:
        """What a calipers cable types."""
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")

    def asked(self) -> str:
        """The place that is asked for, as "position A1 drop"; "" when nothing is."""
        self.settled()
        place = self.page.evaluate("document.getElementById('asked')?.dataset.place || '[]'")
        return " ".join(word for word in json.loads(place) if word)

    def readings(self, left: dict[str, list[str]]) -> None:
        """Type what was read wherever it is asked for, and leave what was not read."""
        while any(left.values()):
            place = self.asked()
            assert self.page.evaluate("document.activeElement.id") == "reading", "the box keeps the focus"
            assert place, f"nothing is asked for, with {left} still to be typed"
            self.type_line(left[place].pop(0) if left.get(place) else "skip")
        self.settled()

    def set(self, key: str, text: str) -> None:
        """Write into a field of the form, unfolding its subject first where it is folded."""
        field = self.page.locator(f"#f-{key}")
        if not field.is_visible():
            self.press(f"#{field.evaluate('f => f.closest(`details`).id')} summary")
        self.tab_to(f"#f-{key}")
        if self.page.evaluate("document.activeElement.tagName") == "SELECT":
            self.page.keyboard.type(text)
        else:
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")
        self.settled()
        assert not self.page.locator("#refused").inner_text()
        assert self.page.locator(f"#f-{key}").input_value() == text

    def choose(self, table: str, name: str) -> None:
        """A table to shape."""
        if table != "part" and not self.page.locator("#d-tables").evaluate("d => d.open"):
            self.press("#d-tables summary")
        self.press(f'button[data-do="choose"][data-place*=\'"{table}"\'][data-place*=\'"{name}"\']')
        self.settled()
        heading = f"{table.capitalize()} {name}".strip()
        assert self.page.locator("#h-form").inner_text() == heading

    def build(self, revision: str) -> None:
        """Build, and wait until it stands."""
        self.section("build")
        self.press("#build")
        self.page.get_by_text(f"{revision} is ready").wait_for(timeout=BUILD_LIMIT)
        self.page.frame_locator("#report").locator("h1").wait_for(timeout=BUILD_LIMIT)

    def fetch(self, selector: str, target: Path) -> Path:
        """A download by its link."""
        with self.page.expect_download() as waiting:
            self.press(selector)
        waiting.value.save_as(target)
        return target

    def tried(self, label: str, proud: str, feel: str, grip: str) -> None:
        """One position's trial: typed, then the choices with the arrow keys."""
        self.settled()
        while self.page.locator("#h-entry b").inner_text() != label:
            self.press("#e-next")
            self.settled()
        self.tab_to("#e-proud")
        self.page.keyboard.type(proud)
        for name, options, wanted in (
            ("feel", ("free", "rubs", "stuck", "rocks"), feel),
            ("grip", ("loose", "holds", "tight"), grip),
        ):
            self.tab_to(f'input[name="{name}"]')
            self.page.keyboard.press("Space")
            self.settled()
            for _ in range(options.index(wanted)):
                self.page.keyboard.press("ArrowRight")
                self.settled()
        self.press("#e-next")
        self.settled()
        assert not self.page.locator("#refused").inner_text()
