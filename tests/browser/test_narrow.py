"""On a phone, 390 px wide, nothing sticks out; wide tables scroll inside their own box."""

from .crawling import NARROW


def test_no_page_scrolls_sideways(facts):
    assert {address: seen["scrollWidth"] for address, seen in facts.items() if seen["scrollWidth"] > seen["innerWidth"]} == {}
    assert {seen["innerWidth"] for seen in facts.values()} == {390}


def test_nothing_is_cut_off_at_the_right(facts):
    assert {address: seen["wide"] for address, seen in facts.items() if seen["wide"]} == {}


def test_wide_tables_can_be_scrolled_with_the_keyboard(open_page):
    page = open_page("/submissions/", viewport=NARROW)
    heading = page.locator("article table").get_by_role("button").last
    scrolled = (
        """heading => { for (let box = heading; box; box = box.parentElement) { if (box.scrollLeft) { return true; } } return false; }"""
    )
    assert not heading.evaluate(scrolled)
    heading.focus()
    assert heading.evaluate(scrolled)
    assert page.evaluate("scrollX") == 0
