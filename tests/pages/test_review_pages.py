"""Pages of the forms about objections and protocols: with their rules, and without any."""

from __future__ import annotations

from sample import results

from edgehold.pages.review_pages import review_pages
from tests.forms.review_corpus import THREADS, objection, put, rules_of, write_repository
from tests.generated import generate_pages


def test_pages_stand_with_and_without_the_rules(tmp_path):
    rules = rules_of(write_repository(tmp_path))
    made = dict(generate_pages(results(), reviews=rules))
    bare = dict(generate_pages(results()))
    for page in ("objections/new", "objections/respond", "objections/decide", "protocols/new"):
        assert 'id="form-rules"' in made[f"{page}/index.md"] and 'id="form-rules"' not in bare[f"{page}/index.md"]
        assert "edgehold draft" in bare[f"{page}/index.md"]


def test_a_hostile_title_does_not_lead_out_of_its_block(tmp_path):
    copied = write_repository(tmp_path)
    put(copied, f"{THREADS}/010-hostile", (objection(title="</script><script>alert(1)</script>"),))
    for page in review_pages(results(), rules_of(copied)):
        data = page.html.split('id="form-rules"')[1].split("</script>")[0]
        assert "<" not in data.split(">", 1)[1]
