"""Every comparison begins with its verdict: in the sentence, in the report's first line, in text and page."""

from html.parser import HTMLParser
from pathlib import Path

import pytest

from edgehold.estimates import verdict as codes
from edgehold.records import load_repository
from edgehold.records.model.protocol import EndpointRule
from edgehold.report.assemble import report_on
from edgehold.report.opening import open_submission
from edgehold.report.page import report_html
from edgehold.report.plain import report_text
from edgehold.report.table import table_used
from edgehold.results.words.verdicts import kind_of, own_sentence
from edgehold.words import Reason, arguments_of, code_of
from tests.answers.cases import protocol_of

from .contrasts import every_verdict
from .reports import CASES, report

ROOT = Path(__file__).parents[2]
RULES = {rule.kind: rule for rule in protocol_of(CASES["pooled-runs"]).endpoints}
ALL = {
    codes.BETTER, codes.WORSE, codes.NOTHING_WORTH_HAVING, codes.SIZE_UNDECIDED, codes.UNDECIDED, codes.ONE_SIDED, codes.NONE, "",
}  # fmt: skip
WORDS = {
    codes.BETTER: {"life_better", "other_better"},
    codes.WORSE: {"life_worse", "other_worse"},
    codes.SIZE_UNDECIDED: {"life_more_open", "life_less_open", "other_more_open", "other_less_open"},
    codes.NOTHING_WORTH_HAVING: {"nothing"},
    codes.UNDECIDED: {"undecided"},
    codes.ONE_SIDED: {"one_sided"},
    codes.NONE: {"none"},
    "": {"no_ratio"},
}


def verdict_in(sentence: str) -> Reason:
    """The words of the verdict that a sentence is told with."""
    return arguments_of(sentence)["verdict"]


def begins(text: str, sentence: str) -> bool:
    """Whether a text begins with the verdict that stands in a sentence."""
    return " ".join(text.split()).startswith(f"{verdict_in(sentence)}: ")


@pytest.mark.parametrize("factor", ["sharpener", "practice", "steel", "blade"])
@pytest.mark.parametrize("kind", ["life", "level"])
def test_every_verdict_has_words_and_every_sentence_begins_with_them(kind, factor):
    rule: EndpointRule = RULES[kind]
    met = set()
    for made in every_verdict(factor):
        assert kind_of(made.contrast) == made.kind
        for excluding in (True, False):
            sentence = own_sentence(made.contrast, rule, "cut", excluding)
            assert code_of(verdict_in(sentence)) == f"own_answer.verdict_{made.life if kind == 'life' else made.other}"
            assert begins(sentence, sentence)
        met.add(made.kind)
    assert met == ALL == WORDS.keys()


def test_what_only_the_winner_is_named_by_agrees_with_the_side_that_won():
    sides = (codes.BETTER, codes.WORSE)
    by_kind = {made.kind: own_sentence(made.contrast, RULES["life"], "cut") for made in every_verdict("blade") if made.kind in sides}
    for kind in sides:
        assert arguments_of(verdict_in(by_kind[kind])) == {"first": "tern", "second": "wren"}
        figure = arguments_of(by_kind[kind])["compared"]
        assert code_of(figure) == f"own_answer.life_{'more' if kind == codes.BETTER else 'less'}_end"


@pytest.mark.parametrize("name", sorted(CASES))
def test_every_answer_of_the_corpus_begins_with_the_words_of_its_verdict(name):
    found = report(name)
    for result in found.answer.results:
        assert code_of(verdict_in(result.sentence)).removeprefix("own_answer.verdict_") in WORDS[result.verdict]
        assert begins(result.sentence, result.sentence)


def test_a_report_begins_with_the_verdict_at_the_primary_endpoint():
    leading = [found for found in map(report, sorted(CASES)) if found.lead]
    assert len(leading) > len(CASES) / 2
    for found in leading:
        begins_with_its_verdict(found)


def begins_with_its_verdict(found):
    primary = found.lead.primary
    assert code_of(verdict_in(found.headline)).removeprefix("own_answer.verdict_") in WORDS[primary.verdict]
    assert begins(report_text(found), found.headline)
    assert begins(first_text(report_html(found), "headline"), found.headline)
    owner = found.lead.owner_sentence
    if owner:
        life = next(figure for figure in found.lead.figures if figure.endpoint == found.lead.owner_endpoint)
        assert code_of(verdict_in(owner)).removeprefix("own_answer.verdict_") in WORDS[life.verdict]
        assert owner in (found.headline, found.beneath) and begins(owner, owner)


class _Texts(HTMLParser):
    """The texts of the paragraphs of one class."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.name, self.inside, self.found = name, False, []

    def handle_starttag(self, tag, attributes):
        if tag == "p":
            self.inside = dict(attributes).get("class") == self.name
            self.found += [""] if self.inside else []

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "p"

    def handle_data(self, data):
        if self.inside:
            self.found[-1] += data


def first_text(html: str, name: str) -> str:
    parser = _Texts(name)
    parser.feed(html)
    return parser.found[0]


@pytest.fixture(scope="module")
def demonstrated(tmp_path_factory):
    """Ids of every ninth simulated submission, and the published table of all of them."""
    from edgehold.endpoints import endpoint_rows
    from edgehold.estimates import repeatability_table
    from edgehold.results.publish.repeatability import publish
    from edgehold.results.publish.repeatability_file import repeatability_json

    repository = load_repository(ROOT)
    file = tmp_path_factory.mktemp("table") / "table.json"
    file.write_bytes(repeatability_json(publish(repeatability_table(endpoint_rows(repository), repository.protocols), repository)))
    return [s.record.id for s in repository.submissions][::9], file


def test_reports_of_the_demonstration_begin_with_the_verdict_in_text_and_page(demonstrated):
    names, table = demonstrated
    kinds = set()
    for name in names:
        opened = open_submission(ROOT, name)
        found = report_on(opened, table_used(ROOT, opened.record, opened.protocol.record, table))
        text = report_text(found).removeprefix(Reason("report.simulated")).lstrip()
        assert begins(text, found.headline) and begins(first_text(report_html(found), "headline"), found.headline), name
        assert code_of(verdict_in(found.headline)).removeprefix("own_answer.verdict_") in WORDS[found.lead.primary.verdict]
        kinds.add(found.lead.primary.verdict)
    assert len(names) > 10 and len(kinds) > 1
