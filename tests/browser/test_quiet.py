"""No page complains, and none asks any other host for anything."""


def kept(facts: dict[str, dict], name: str) -> dict[str, object]:
    """What stands under a name where something stands, by address."""
    return {address: seen[name] for address, seen in facts.items() if seen[name]}


def test_every_page_is_answered(facts):
    assert len(facts) > 100
    assert {address: seen["status"] for address, seen in facts.items() if seen["status"] != 200} == {}


def test_no_page_has_an_error_in_the_console_or_a_failed_request(facts):
    assert kept(facts, "errors") == {}


def test_no_page_asks_another_host(facts):
    assert kept(facts, "elsewhere") == {}


def test_no_page_breaks_its_own_policy(facts):
    assert kept(facts, "violations") == {}


def test_every_page_has_one_strict_policy(facts):
    assert {address for address, seen in facts.items() if len(seen["policy"]) != 1} == set()
    for address, seen in facts.items():
        directives = dict(part.strip().split(" ", 1) for part in seen["policy"][0].split(";") if part.strip())
        assert directives["default-src"] == "'none'", address
        assert directives["base-uri"] == directives["object-src"] == "'none'", address
        for name in ("script-src", "style-src", "connect-src", "img-src"):
            allowed = {source for source in directives[name].split() if not source.startswith("'sha256-")}
            assert allowed <= {"'self'", "data:"}, f"{address}: {name} allows {allowed}"
        assert "data:" not in directives["script-src"]


def test_the_watch_would_have_seen_an_error_a_violation_and_a_foreign_request(browser, base):
    from .crawling import crawl

    class Spoiled:
        """The browser, with three faults added to whatever it opens."""

        def new_context(self, **settings):
            context = browser.new_context(**settings)
            context.add_init_script("""addEventListener("DOMContentLoaded", () => {
              console.error("a fault");
              const image = document.createElement("img");
              image.src = "http://elsewhere.invalid/x.png";
              document.body.append(image);
              document.querySelector("h1").setAttribute("onclick", "scriptRan = 1");
            });""")
            return context

    seen = crawl(Spoiled(), base, ["/"])["/"]
    assert any("a fault" in error for error in seen["errors"])
    assert any("img-src" in violation for violation in seen["violations"])
    assert "h1 onclick" in seen["handlers"]
