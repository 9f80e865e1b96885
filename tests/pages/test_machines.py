"""What programs read of the site: the Atom feed, JSON-LD and Open Graph. Hostile texts are texts there too."""

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import feedparser
import pytest
from hostile import hostile
from reading import parsed
from sample import results

from edgehold.pages.csp import PLACE, UnsafePage, script_hashes, with_policy
from edgehold.pages.feed import feed
from edgehold.pages.safe_text import data_block
from edgehold.pages.site import build_site

ATOM = "{http://www.w3.org/2005/Atom}"
SITE = "https://edgehold.test/"
DATE_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z")  # RFC 3339, as RFC 4287 section 3.3 asks for


def valid(xml: bytes) -> ElementTree.Element:
    """The feed, held against what RFC 4287 says must be there (sections 4.1.1, 4.1.2, 4.2.6 and 4.2.7)."""
    root = ElementTree.fromstring(xml)
    assert root.tag == f"{ATOM}feed"
    for element in (root, *root.iter(f"{ATOM}entry")):
        for name in ("id", "title", "updated"):
            (one,) = element.findall(f"{ATOM}{name}")
            assert one.text and one.text.strip()
        assert DATE_TIME.fullmatch(element.find(f"{ATOM}updated").text)
        assert element.find(f"{ATOM}id").text.startswith("urn:uuid:")
        assert len(element.findall(f"{ATOM}link[@rel='alternate']")) == 1
    assert root.find(f"{ATOM}author/{ATOM}name").text and len(root.findall(f"{ATOM}link[@rel='self']")) == 1
    ids = [e.text for e in root.iter(f"{ATOM}id")]
    assert len(set(ids)) == len(ids)
    return root


def test_the_feed_is_valid_atom_and_a_reader_reads_it():
    found = results(measured=4, simulated=4)
    xml = feed(found, SITE)
    root = valid(xml)
    read = feedparser.parse(xml)
    assert not read.bozo and read.version == "atom10"
    assert [e.updated for e in read.entries] == sorted((e.updated for e in read.entries), reverse=True)
    assert all(e.link.startswith(SITE) for e in read.entries)
    told = {e.title for e in read.entries}
    for objection in found.objections:
        assert any(f"bjection {objection.number} to" in title for title in told)
    assert root.find(f"{ATOM}updated").text == read.entries[0].updated
    assert feed(found, SITE) == xml


def test_a_verdict_that_moved_is_an_entry_of_its_month_and_one_that_stood_is_none():
    found = results(simulated=4)
    moves = [move for log in found.moves for course in log.courses for move in course.moves]
    moved = [move.month for move in moves if move.before.verdict != move.after.verdict]
    entries = [e for e in feedparser.parse(feed(found, SITE)).entries if "bjection" not in e.title]
    assert 0 < len(entries) == len(moved) < len(moves)
    assert sorted(e.updated[:7] for e in entries) == sorted(moved)


def test_simulated_news_say_so():
    entries = feedparser.parse(feed(results(simulated=4), SITE)).entries
    of_logs = [e for e in entries if "/results/log/" in e.link]
    assert of_logs and all(e.title.startswith("Simulated: ") and e.tags[0].term == "simulated" for e in of_logs)


def test_without_an_address_ids_stay_and_links_are_relative():
    with_address, without = (ElementTree.fromstring(feed(results(measured=4), url)) for url in (SITE, ""))
    assert [e.text for e in with_address.iter(f"{ATOM}id")] == [e.text for e in without.iter(f"{ATOM}id")]
    assert all(not e.get("href").startswith(("/", "http")) for e in without.iter(f"{ATOM}link"))


def test_an_empty_repository_has_an_empty_feed():
    found = results(simulated=4).model_copy(update={"moves": (), "objections": ()})
    assert feedparser.parse(feed(found, "")).entries == [] and valid(feed(found, "")) is not None


def test_hostile_texts_stay_texts_in_the_feed():
    found = hostile(results(measured=3, simulated=3))
    found = found.model_copy(update={"objections": tuple(o.model_copy(update={"month": "2026-06"}) for o in found.objections)})
    valid(feed(found, SITE))


@pytest.mark.parametrize("text", ["</script><script>window.hit=1</script>", "<!--<script>", "]]>", "\u2028 & \u2029", "</SCRIPT >"])
def test_a_block_of_data_cannot_be_left(text):
    block = data_block(json.dumps({"name": text}, ensure_ascii=False))
    assert json.loads(block) == {"name": text}
    assert not set("<>&\u2028\u2029") & set(block)


def test_a_block_of_data_is_no_script_to_the_policy():
    assert script_hashes('<script type="application/ld+json">{}</script><script type="application/json">{}</script>') == set()
    assert script_hashes("<script>1</script>")


THEMES = [
    '__md_scope=new URL("../..",location),__md_hash=e=>[...e].reduce(((e,_)=>(e<<5)-e+_.charCodeAt(0)),0),'
    '__md_get=(e,_=localStorage,t=__md_scope)=>JSON.parse(_.getItem(t.pathname+"."+e)),'
    '__md_set=(e,_,t=localStorage,a=__md_scope)=>{try{t.setItem(a.pathname+"."+e,JSON.stringify(_))}catch(e){}}',
    'var target=document.getElementById(location.hash.slice(1));target&&target.name&&(target.checked=target.name.startsWith("__tabbed_"))',
]


@pytest.mark.parametrize("way", [".", "..", "../../../..", "/", "/edgehold/"])
def test_the_theme_s_own_scripts_pass_whatever_the_way_to_the_root(way):
    scripts = [script.replace('"../.."', f'"{way}"') for script in THEMES]
    page = f"<head>{PLACE}</head>" + "".join(f"<script>{script}</script>" for script in scripts)
    assert script_hashes(page) <= set(with_policy(page).split('content="')[1].split('"')[0].replace(";", " ").split())


@pytest.mark.parametrize(
    "script",
    [
        "alert(1)",
        THEMES[1] + ";alert(1)",
        THEMES[0].replace('"../.."', '"https://elsewhere.example/"'),
        THEMES[0].replace('"../.."', '"//elsewhere.example/"'),
        THEMES[0].replace('"../.."', '"..",alert(1)'),
        "",
    ],
)
def test_another_inline_script_stops_the_build(script):
    with pytest.raises(UnsafePage, match="inline script that is not one of the theme's"):
        with_policy(f"<head>{PLACE}</head><script>{script}</script>")


@pytest.mark.parametrize(
    "markup",
    [
        '<p onclick="x()">', "<p\nonClick = x()>", '<svg/onload="x()">', '<a href="javascript:x()">', "<a href=' JavaScript:x()'>",
        '<p style="a:b">', "<iframe src=x>", "<OBJECT data=x>", "<embed src=x>", '<base href="//x">',
        '<meta http-equiv="refresh" content="0">',
        '<button formaction="x">', '<p title="a"onmouseover=x()>',
    ],
)  # fmt: skip
def test_markup_that_acts_by_itself_stops_the_build(markup):
    with pytest.raises(UnsafePage, match="acts by itself"):
        with_policy(f"<head>{PLACE}</head>{markup}</p>")


@pytest.mark.parametrize(
    "text", ["on = 5", "style = plain", "&lt;iframe&gt; onclick=&#34;x&#34;", "javascript: a language", '<p class="on" title="one = 1">']
)
def test_words_that_only_sound_like_it_pass(text):
    with_policy(f"<head>{PLACE}</head><p>{text}</p>")


def data_sets(folder: Path) -> dict[str, dict]:
    """JSON-LD of every page that has some, as a browser would hand it to a program."""
    found = {}
    for page in sorted(folder.rglob("index.html")):
        for element in parsed(page.read_text(encoding="utf-8")).tree.iter():
            if isinstance(element.tag, str) and element.tag.endswith("script") and element.get("type") == "application/ld+json":
                found[page.parent.relative_to(folder).as_posix()] = json.loads(element.text)
    return found


def properties(page: Path) -> dict[str, str]:
    tree = parsed(page.read_text(encoding="utf-8")).tree
    return {e.get("property"): e.get("content") for e in tree.iter() if isinstance(e.tag, str) and e.get("property")}


def test_data_and_pools_say_what_they_are_to_machines(site):
    found = data_sets(site)
    pools = [name for name in found if name.startswith("results/")]
    assert "data" in found and len(pools) == 3
    for one in found.values():
        # https://schema.org/Dataset; name and description are what search engines for data require
        assert (one["@context"], one["@type"]) == ("https://schema.org", "Dataset")
        assert one["name"] and len(one["description"]) >= 50 and one["license"].startswith("https://creativecommons.org/publicdomain/zero/")
        assert one["creator"]["name"] and one["isAccessibleForFree"] is True
    assert all(("simulated" in found[name]["name"]) == name.endswith("simulated") for name in pools)
    assert {d["name"] for d in found["data"]["distribution"]} == {"results.json", "comparisons.csv", "datapackage.json"}


def test_every_page_has_the_feed_and_what_a_post_shows_of_it(site):
    for page in [site / "index.html", site / "data" / "index.html", *sorted((site / "results").rglob("index.html"))[:5]]:
        html = page.read_text(encoding="utf-8")
        (link,) = [e for e in parsed(html).tree.iter() if isinstance(e.tag, str) and e.get("type") == "application/atom+xml"]
        assert (page.parent / link.get("href")).resolve() == site.resolve() / "feed.xml"
        told = properties(page)
        assert told["og:title"] and told["og:description"] and told["og:type"] == "website" and told["og:site_name"] == "Edgehold"
        assert "og:url" not in told and "og:image" not in told, "this site has no public address"
    assert (site / "feed.xml").is_file() and (site / "assets" / "preview.png").is_file()


def test_hostile_texts_leave_no_block_of_data(tmp_path):
    build_site(hostile(results(measured=3)), tmp_path / "no-repository", tmp_path / "site", {})
    found = data_sets(tmp_path / "site")
    assert any("window.hit" in json.dumps(one) for one in found.values()), "the texts are there, as texts"
    for page in (tmp_path / "site").rglob("*.html"):
        assert "window.hit=1</script>" not in page.read_text(encoding="utf-8")
