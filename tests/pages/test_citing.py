"""A citation is read by other programs: BibTeX by a parser of its own, CSL-JSON by what its public schema asks for."""

import json
from html import unescape
from pathlib import Path

import bibtexparser
import jsonschema
import pytest
from hostile import PAYLOADS
from reading import parsed
from sample import results

from edgehold.archive.build import Facts
from edgehold.archive.folder import Kept
from edgehold.pages.archive_pages import archive_page
from edgehold.pages.citing import Cited, citation
from edgehold.pages.generate import cited_pages, made_pages
from edgehold.results.model.results import Provenance

ROOT = Path(__file__).parents[2]
SITE = "https://edgehold.test/"
BUILD = "2026-10-3f9a0c41be27"
PAGE = "/results/two-sharpeners-v1-measured/"
COMMIT = "ab" * 20

# What csl-data.json of the Citation Style Language asks of an item and of the fields that are used here, in words of our own:
# https://github.com/citation-style-language/schema (schemas/input/csl-data.json): "type" and "id" are required, and no other field is
# allowed than those it lists; a date has date-parts of year, month and day; a name may be literal.
CSL = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["type", "id"],
        "additionalProperties": False,
        "properties": {
            "type": {"enum": ["article", "book", "dataset", "document", "report", "software", "webpage"]},
            "id": {"type": ["string", "number"]},
            "title": {"type": "string"},
            "author": {
                "type": "array",
                "items": {"type": "object", "properties": {"literal": {"type": "string"}}, "additionalProperties": False},
            },
            "issued": {
                "type": "object",
                "required": ["date-parts"],
                "properties": {
                    "date-parts": {
                        "type": "array",
                        "minItems": 1,
                        "maxItems": 2,
                        "items": {"type": "array", "items": {"type": ["string", "number"]}, "minItems": 1, "maxItems": 3},
                    }
                },
                "additionalProperties": False,
            },
            "URL": {"type": "string"},
            "version": {"type": "string"},
            "publisher": {"type": "string"},
            "note": {"type": "string"},
        },
    },
}


def cited(build=BUILD, base_url=SITE, month="2026-10", commit=COMMIT):
    known = Provenance(
        program_version="0.1.0",
        inputs_sha256="12" * 32,
        input_files=9,
        repeatability_sha256="34" * 32,
        repository_url="",
        data_month=month,
        commit=commit,
    )
    return Cited(build, base_url, known)


def bibtex_of(text):
    library = bibtexparser.parse_string(text)
    assert library.failed_blocks == []
    (entry,) = library.entries
    return entry


def test_all_three_forms_say_the_same_with_the_address_in_the_archive():
    made = citation(cited(), "Steels on rope", PAGE)
    address = f"{SITE}archive/{BUILD}{PAGE}"
    assert "Edgehold contributors (October 2026). Steels on rope." in made.text and made.text.endswith(address)
    entry = bibtex_of(made.bibtex)
    fields = {name: field.value for name, field in entry.fields_dict.items()}
    assert entry.entry_type == "misc" and fields["title"] == "Steels on rope" and fields["url"] == address
    assert (fields["year"], fields["month"], fields["author"]) == ("2026", "oct", "{Edgehold contributors}")
    assert COMMIT in fields["note"]
    (item,) = json.loads(made.csl)
    jsonschema.validate([item], CSL)
    assert (item["type"], item["URL"], item["issued"]) == ("dataset", address, {"date-parts": [[2026, 10]]})
    assert item["id"] == entry.key


@pytest.mark.parametrize("title", [*PAYLOADS, "50 % more & \\end{document} {x} $y$ #1 a_b ~ ^", "Stähle, größer", "}},\n@misc{other,"])
def test_hostile_titles_stay_titles(title):
    made = citation(cited(), title, PAGE)
    entry = bibtex_of(made.bibtex)
    assert set(entry.fields_dict) <= {"author", "title", "year", "month", "version", "publisher", "url", "note"}
    assert not {"{", "}"} & set(entry.fields_dict["title"].value)
    jsonschema.validate(json.loads(made.csl), CSL)


def test_a_citation_of_simulated_figures_says_so_in_every_form():
    made = citation(cited(), "Steels on rope", PAGE, simulated=True)
    assert all("simulated demonstration, nothing measured" in form for form in (made.text, made.bibtex, made.csl))


def test_without_an_address_there_is_a_path_and_no_link_that_leads_nowhere():
    made = citation(cited(base_url=""), "Steels on rope", PAGE)
    path = f"/archive/{BUILD}{PAGE}"
    assert made.text.endswith(path) and "edgehold.example" not in made.text
    assert bibtex_of(made.bibtex).fields_dict["howpublished"].value == path and "url" not in bibtex_of(made.bibtex).fields_dict
    (item,) = json.loads(made.csl)
    jsonschema.validate([item], CSL)
    assert "URL" not in item


def test_a_build_that_is_not_kept_has_no_address_and_says_so():
    made = citation(cited(build=""), "Steels on rope", PAGE)
    assert "archive/" not in made.text and "Not in the archive" in made.text
    assert "url" not in bibtex_of(made.bibtex).fields_dict and "121212121212" in made.bibtex
    jsonschema.validate(json.loads(made.csl), CSL)


def test_data_without_a_month_have_no_date():
    made = citation(cited(month="", commit=""), "Steels on rope", PAGE)
    assert "(no date)" in made.text and "year" not in bibtex_of(made.bibtex).fields_dict
    (item,) = json.loads(made.csl)
    jsonschema.validate([item], CSL)
    assert "issued" not in item and "note" not in item


def blocks(page):
    """Texts of the three forms as a reader copies them."""
    found = {e.get("id"): "".join(e.itertext()) for e in parsed(page.html).tree.iter() if str(e.get("id")).startswith("cite-")}
    return [found.get(f"cite-{form}") for form in ("text", "bibtex", "csl")]


def pages_of(build=BUILD, base_url=SITE):
    found = results(measured=4, simulated=4)
    made = made_pages(found)
    return found, {page.address: page for page in cited_pages(made, found, (), cited(build, base_url), ())}


def test_every_result_page_ends_with_how_to_cite_it():
    found, pages = pages_of()
    for pool in found.pools:
        below = [a for a in pages if a.startswith(f"/results/{pool.protocol}-v{pool.major}-{pool.origin}/")]
        assert any("/compare/" in a for a in below)
        for address in below:
            text, bibtex, csl = blocks(pages[address])
            assert text.endswith(f"{SITE}archive/{BUILD}{address}")
            assert bibtex_of(bibtex).fields_dict["url"].value == json.loads(csl)[0]["URL"] == f"{SITE}archive/{BUILD}{address}"
            assert ("simulated" in text.lower()) == (pool.origin == "simulated")
    assert all(blocks(pages[f"/steels/{steel.id}/"])[0] for steel in found.steels)
    assert not any(
        blocks(page)[0] for address, page in pages.items() if address.startswith(("/protocols/", "/objections/", "/submissions/"))
    )


def test_the_page_says_what_the_address_is_worth():
    for build, base_url, says in ((BUILD, SITE, "for ever"), (BUILD, "", "no full address"), ("", SITE, "not in the archive")):
        found, pages = pages_of(build, base_url)
        assert says in pages[f"/results/{found.pools[0].protocol}-v1-simulated/"].html


def test_the_list_cites_every_build_by_its_own_name():
    kept = [Kept(f"2026-0{n}-{str(n) * 12}", Facts(f"2026-0{n}", "0.1.0", "", str(n) * 64, 3), ("index.html",), 10) for n in (8, 9)]
    html = unescape(archive_page(kept, cited()).html)
    for one in kept:
        assert f"{SITE}archive/{one.name}/" in html
    assert html.index(kept[1].name) < html.index(kept[0].name)


def test_the_list_gives_the_hashes_of_every_build_and_the_host_s_command_that_verifies_them():
    facts = Facts("2026-08", "0.1.0", "", "8" * 64, 3, results_sha256="a" * 64)
    kept = [Kept("2026-08-888888888888", facts, ("index.html",), 10, sums_sha256="8" * 64)]
    html = unescape(archive_page(kept, cited(), "https://host.example/harbour/edges").html)
    assert f">{'8' * 64}<" in html and f">{'a' * 64}<" in html
    workflow = "harbour/edges/.github/workflows/publish.yml"
    assert f"gh attestation verify SHA256SUMS --repo harbour/edges --signer-workflow {workflow}" in html
    assert workflow.partition("edges/")[2] in {path.relative_to(ROOT).as_posix() for path in ROOT.glob(".github/workflows/*")}
    assert "--repo OWNER/NAME" in archive_page(kept, cited()).html and "attestation" not in archive_page([], cited()).html
