"""A hand at the bench page: it taps and types, counts what it does, and times each answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from playwright.sync_api import Locator, Page
from real_browser import PROBES
from until import until

HEARS = """(() => {
    const Plain = window.WebSocket, heard = () => {
        if (window.benchWatch) benchWatch.heard = performance.now();
    };
    if (Plain.isHeard) return;
    window.WebSocket = class extends Plain {
        static isHeard = true;
        constructor(...given) { super(...given); this.addEventListener("message", heard); }
    };
})()"""
"""Notes when the server was last heard: a run may be over before the page says that it began."""
WATCHES = """() => {
    if (window.benchWatch) return;
    const app = () => document.querySelector("[data-testid='stApp']");
    const watch = window.benchWatch = { began: 0, changed: 0, heard: 0, hasRun: false };
    const begin = () => {
        Object.assign(watch, { began: performance.now(), changed: 0, heard: 0, hasRun: false });
    };
    const opts = { capture: true, passive: true };
    addEventListener("pointerdown", begin, opts);
    addEventListener("keydown", (event) => { if (event.key === "Enter") begin(); }, opts);
    new MutationObserver((changes) => {
        watch.changed = performance.now();
        watch.hasRun ||= changes.some((one) => one.attributeName === "data-test-script-state");
    }).observe(app(), {
        subtree: true, childList: true, characterData: true, attributes: true,
        attributeFilter: ["data-test-script-state", "class", "value", "disabled"] });
}"""
"""Notes when a press began and when the page last changed."""
SETTLED = """() => {
    const watch = window.benchWatch, app = document.querySelector("[data-testid='stApp']");
    const quiet = performance.now() - Math.max(watch.changed, watch.heard);
    return app.dataset.testScriptState === "notRunning"
        && (watch.hasRun ? quiet > 150 : watch.heard > 0 && quiet > 800);
}"""
ANSWERED = """mark => {
    const item = document.querySelector(".lk-item");
    return item && item.dataset.item !== mark
        || document.querySelector(".st-key-bench .lk-refused");
}"""
"""Whether an entry was recorded, so that another item is open, or refused.

While the page draws anew there may be no item at all."""
DOUBLE_TAP_MS = 350
"""A hand waits this long between two presses: quicker ones are taken for one."""


@dataclass
class Did:
    """One interaction: what it was, and how long the page took to settle."""

    what: str
    milliseconds: float


@dataclass
class Hand:
    """Taps, or types and Enter; each counts as one interaction."""

    page: Page
    did: list[Did] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    """What went wrong in the page, where it is watched."""

    def watch(self) -> None:
        """Note what goes wrong in the page from here on."""

        def said(message: object) -> None:
            where = str(getattr(message, "location", {}).get("url", ""))
            is_probe = where.endswith(PROBES) and "404" in str(getattr(message, "text", ""))
            if getattr(message, "type", "") == "error" and not is_probe:
                self.wrong.append(f"{getattr(message, 'text', '')} {where}")

        self.page.on("console", said)
        self.page.on("pageerror", lambda error: self.wrong.append(str(error)))

    def begin(self, address: str, until: str = ".st-key-bench_item") -> None:
        """Go to an address of the bench."""
        self.page.add_init_script(HEARS)
        self.page.goto(address)
        self.page.wait_for_selector(until)
        self.page.wait_for_selector("[data-test-script-state='notRunning']")
        self.page.evaluate(WATCHES)

    def _do(self, what: str, act: Callable[[], None], *, is_entry: bool = False) -> None:
        self.page.wait_for_timeout(DOUBLE_TAP_MS)
        self.page.evaluate(WATCHES)
        mark = self.page.locator(".lk-item").first.get_attribute("data-item")
        act()
        if is_entry:
            until(self.page, ANSWERED, mark)
        until(self.page, SETTLED)
        watch = self.page.evaluate("window.benchWatch")
        self.did.append(Did(what, watch["changed"] - watch["began"]))

    def tap(self, name: str, within: str = ".st-key-bench_item", *, exact: bool = True) -> None:
        """Tap the press of a name."""
        where = self.page.locator(within).get_by_role("button", name=name, exact=exact)
        self.tap_on(where.first, name)

    def choose(self, name: str) -> None:
        """Tap an answer among several."""
        self.tap_on(
            self.page.locator(".st-key-bench_item").get_by_text(name, exact=True).first, name
        )

    def tap_on(self, where: Locator, what: str) -> None:
        """Tap something."""
        self._do(what, where.tap)

    def type_in(self, typed: str) -> None:
        """Type into the field that has the focus already, and press Enter."""
        field_of = self.page.locator(".st-key-bench_entry input").first
        field_of.wait_for()
        assert field_of.evaluate("one => one === document.activeElement"), "the field has no focus"

        def act() -> None:
            self.page.keyboard.insert_text(typed)
            self.page.keyboard.press("Enter")

        self._do(f"{typed} and Enter", act, is_entry=True)

    @property
    def item(self) -> str:
        """The title of the open item."""
        return self.page.locator(".lk-item h1").first.inner_text()

    @property
    def said(self) -> str:
        """What was just recorded, in a line."""
        return self.page.locator(".lk-in-book span").first.inner_text()

    @property
    def refused(self) -> str:
        """Why nothing was recorded; empty where nothing was refused."""
        found = self.page.locator(".st-key-bench .lk-refused")
        return found.first.inner_text() if found.count() else ""


def whole_service(hand: Hand) -> None:
    """Walk a full service of the tourer, from booking in to the bill, by touch."""
    hand.choose("Full service")
    hand.tap("Book in")
    hand.type_in("1460")
    for _ in range(9):
        if "inspect" not in hand.page.url:
            break
        hand.tap_on(hand.page.locator("[class*='st-key-rest-'] button").first, "the rest of it")
    for figure in ("0.82", "0.4", "1.2", "2.1", "1.7", "1.8", "2.2", "2.4", "0.2", "0.3"):
        hand.type_in(figure)
    hand.tap_on(hand.page.locator(".st-key-line-tier button"), "the tier at its price")
    hand.tap("Give the quote")
    hand.tap("Yes")
    hand.tap("Fit a part")
    hand.choose("Chain")
    hand.tap("Record")
    hand.tap("Treat")
    hand.choose("Chain")
    hand.choose("Lubricated")
    hand.tap("Record")
    hand.tap("Take a part off")
    hand.choose("Drivetrain")
    hand.choose("Cassette")
    hand.tap("Record")
    hand.tap("Nothing more: go on")
    while "step=torque" in hand.page.url:
        hand.type_in("12")
    for figure in ("4.0", "4.5"):
        hand.type_in(figure)
    hand.choose("Yes")
    hand.tap("Record the hand-back")
    hand.tap("Close the job")
