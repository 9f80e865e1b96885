"""The command-line program: read the words, call, print, exit.

Exit status: 0 fine or warnings only, 1 errors found, 2 misuse.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from . import __version__
from .cycles import without_looking_at_the_end, without_looking_for_cycles
from .disk import write_file
from .engine.progress import line_cleared, told_on
from .errors import FindingsError, InputError
from .last_word import TRACEBACK, is_fault, last_word, let_through, say_no_more
from .planning.options import add_arguments as add_plan_arguments
from .planning.options import seed, whole
from .words import Reason

if TYPE_CHECKING:
    from .errors import Finding
    from .records.canonical import Repository
    from .records.change.writing import Written

FINE, ERRORS_FOUND, MISUSE = 0, 1, 2
MOST_EXCHANGES = 100
EXTRA_LIBRARIES = frozenset({"altair", "jsonschema", "mkdocs", "material", "openpyxl", "pyarrow", "vl_convert"})
CLUSTER_LIBRARIES = frozenset({"cloudpickle", "dask", "distributed"})

# Many small matrices: threads of the linear algebra library only wait for each other, for ten times the processor time.
for _setting in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_setting, "1")  # read when numpy is first imported, which the commands do


def main(argv: list[str] | None = None) -> int:
    """Run one command and return its exit status; whatever happens, the last word is a sentence."""
    let_through(sys.stdout)
    without_looking_at_the_end()
    try:
        status = _run(argv)
        sys.stdout.flush()
        return status
    except BrokenPipeError:  # the reader of our output has gone: not an error of ours
        say_no_more(sys.stdout)
        return FINE
    except (Exception, KeyboardInterrupt) as error:
        if is_fault(error) and os.environ.get(TRACEBACK):
            raise
        say_no_more(sys.stdout)
        print(f"edgehold: {last_word(error)}", file=sys.stderr)
        return MISUSE


def _run(argv: list[str] | None) -> int:
    try:
        arguments = _parser().parse_args(argv)
    except SystemExit:  # help was shown, or a word was wrong
        sys.stdout.flush()
        raise
    try:
        with told_on(sys.stderr), without_looking_for_cycles() if arguments.command in (_check, _report, _plan) else nullcontext():
            status: int = arguments.command(arguments)
        return status
    except FindingsError as error:
        return _print_findings(error)
    except ModuleNotFoundError as error:
        return _print_missing(error, "sheets" if arguments.command is _plan else "site")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="edgehold",
        description="Check cutting-test results, pool them, and build the site that publishes them.",
    )
    parser.add_argument("--version", action="version", version=f"edgehold {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND", parser_class=_Command)

    check = _command(commands, "check", _check, "read everything people wrote and print every finding")
    check.add_argument("paths", nargs="*", metavar="PATH", help="show findings for these files or folders only")
    check.add_argument("--against", metavar="REF", help="check what the working tree changes against this commit, branch or tag of git")
    check.add_argument(
        "--pool",
        action="store_true",
        help="with --against: also pool what is proposed, in a process of its own with limits; takes as long as its pools",
    )
    check.add_argument("--author", metavar="ID", help="with --against: the host's id of the account that sends the request")
    check.add_argument("--summary", metavar="FILE", help="with --against: write there, in Markdown, what is changed, found and answered")
    form = check.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print the findings as JSON")
    form.add_argument("--annotate", action="store_true", help="print the findings so that GitHub shows them at their lines")

    pool = _command(commands, "pool", _pool, "check and pool; write the results to build/results")
    site = _command(commands, "site", _site, "check, pool and build the pages; write build/results and build/site")
    site.add_argument("--archive", metavar="FOLDER", help="keep this build in FOLDER, and lay all builds kept there into the site")

    deposit = _command(commands, "deposit", _deposit, "check, pool and write data, sources, hashes and metadata as one ZIP file")
    deposit.add_argument("file", metavar="FILE", help="where to write it")
    for command in (pool, site, deposit):
        command.add_argument(
            "--cluster",
            metavar="ADDRESS",
            help="let the workers of a Dask cluster compute, whose scheduler is at ADDRESS: the same bytes; its members are trusted",
        )

    exchange = _command(commands, "exchange", _exchange, "name the further runs that would best tell sharpeners from testers")
    exchange.add_argument("--count", type=_count, default=5, metavar="N", help="how many runs for each protocol (default 5)")
    exchange.add_argument("--json", action="store_true", help="print them as JSON")

    correct = _command(commands, "correct", _correct, "correct a measured submission by a file beside it, which stays as it is")
    retract = _command(commands, "retract", _retract, "take a measured submission back: it stays readable, and counts nowhere")
    for command in (correct, retract):
        command.add_argument("id", metavar="ID", help="the submission")
        command.add_argument("--why", required=True, metavar="TEXT", help="the reason, for readers")
        command.add_argument("--by", required=True, metavar="HANDLE", help="who does it")
        command.add_argument("--month", metavar="YYYY-MM", help="when (default: this month)")
    correct.add_argument(
        "--set",
        nargs=2,
        metavar=("POINTER", "VALUE"),
        dest="changes",
        action="append",
        default=[],
        help="put this value (JSON, or plain text) at this place",
    )
    correct.add_argument(
        "--remove", nargs=1, metavar="POINTER", dest="changes", action="append", default=[], help="take out what stands at this place"
    )

    intake = _command(commands, "intake", _intake, "turn a filled-in sheet, or a result sent as text, into a submission, or ask")
    intake.add_argument("file", metavar="FILE", help="a sheet, CSV or XLSX; a finished file; or any text with one block of letters in it")
    intake.add_argument(
        "--plan", metavar="PLAN.json", help="the plan that it was made from: whose edge is whose, where the sheet leaves it open"
    )
    intake.add_argument("--output", metavar="FILE", help="where to write the submission (default: its id, in the current folder)")
    intake.add_argument("--draft", action="store_true", help="where something must be asked, write what could be read: the form opens it")
    intake.add_argument(
        "--place", action="store_true", help="put it where it belongs under submissions/measured, if everything checks with it"
    )
    intake.add_argument("--json", action="store_true", help="print what was found as JSON")

    report = _command(commands, "report", _report, "report on one submission: what it says by itself, and what it cannot tell")
    report.add_argument("submission", metavar="FILE|ID", help="a file, or the id of a submission of the repository")
    report.add_argument("--html", metavar="OUT", help="write the report there too, as one HTML file that needs nothing else")
    report.add_argument(
        "--table",
        metavar="FILE",
        help="a published repeatability table (default: that of the last build, or else one computed from the other submissions)",
    )
    report.add_argument(
        "--cuts-a-week", type=float, metavar="N", help="how much is cut in a week, in the protocol's unit: is sharpening worth learning?"
    )
    report.add_argument(
        "--pool",
        metavar="DIR",
        help="a repository: say what these runs add to the pool of its submissions, without them and with them (pools that question twice)",
    )
    how = report.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="print the report as JSON")
    how.add_argument("--card", action="store_true", help="print what was found in at most 1,000 characters, for a post")

    plan = _command(commands, "plan", _plan, "plan a fair test with what is in the house, and say what to expect of it")
    add_plan_arguments(plan)

    draft = _command(commands, "draft", _draft, "draft a protocol, an objection, a response, an outcome or an event as a file")
    draft.add_when_called = _add_draft_arguments

    demo = _command(commands, "demo", _demo, "write the simulated demonstration again from its seed")
    demo.add_argument("--seed", type=seed, default=None, help="another seed than the published one")
    return parser


class _Command(argparse.ArgumentParser):
    """A command; what ``add_when_called`` adds to it is added when somebody calls it or asks for its help, and not before."""

    add_when_called: Callable[[argparse.ArgumentParser], None] | None = None

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """As every parser; argparse hands a command its words by this method alone."""
        if self.add_when_called is not None:
            self.add_when_called(self)
            self.add_when_called = None
        return super().parse_known_args(args, namespace)


def _add_draft_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of drafts are fields of records with their texts, and reading those takes longer than the help of all commands."""
    from .review.command import add_arguments

    add_arguments(parser)


def _command(
    commands: argparse._SubParsersAction[_Command], name: str, function: Callable[[argparse.Namespace], int], text: str
) -> _Command:
    parser = commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
    parser.add_argument("--root", default=None, metavar="DIR", help="the repository (default: the one you are in)")
    parser.set_defaults(command=function)
    return parser


def _root(arguments: argparse.Namespace) -> Path:
    """The repository named, or the nearest one at or above the current folder."""
    if arguments.root is not None:
        return Path(arguments.root)
    here = Path.cwd()
    candidates = [here, *here.parents]
    return next((p for p in candidates if (p / "protocols").is_dir() and (p / "submissions").is_dir()), here)


def _say(text: str) -> None:
    line_cleared()
    print(f"edgehold: {text} …", file=sys.stderr, flush=True)


def _silent(_: str) -> None:
    """A terminal is told on the line that is rewritten."""


def _warn(text: str) -> None:
    line_cleared()
    print(f"edgehold: warning: {text}", file=sys.stderr, flush=True)


def _check(arguments: argparse.Namespace) -> int:
    from .records.read.named import load_for
    from .records.report import check_counts, check_json, check_text, relative, site_of, within

    if arguments.against is not None:
        return _check_request(arguments)
    if arguments.summary is not None:
        raise InputError("--summary tells what a request changes: it needs --against REF")
    if arguments.pool:
        raise InputError("--pool tries what a request proposes: it needs --against REF")
    if arguments.author is not None:
        raise InputError("--author says who sends a request: it needs --against REF")
    root = _root(arguments)
    repository, whole = load_for(root, relative(root, arguments.paths))
    findings = within(repository.findings, root, arguments.paths)
    if arguments.paths and whole:
        findings = tuple(sorted([*findings, *_laid_out(repository, arguments.paths)]))
    if arguments.annotate:
        from .records.request.report import annotations

        print(*filter(None, [annotations(findings, site_of(root)), check_counts(findings, repository, whole)]), sep="\n")
    else:
        print((check_json if arguments.json else check_text)(findings, repository, whole))
    return ERRORS_FOUND if any(f.severity == "error" for f in findings) else FINE


def _laid_out(repository: Repository, paths: list[str]) -> tuple[Finding, ...]:
    """What comes of making pages of the methods among the files that were named."""
    from .records.report import named

    methods = [loaded.path for loaded in repository.protocols.values() if named(loaded.path, repository.root, paths)]
    if not methods:
        return ()
    from .trial import laid_out

    return laid_out(repository, methods)


def _check_request(arguments: argparse.Namespace) -> int:
    from .records.request.against import check_proposal
    from .records.request.report import annotations, request_counts, request_json, request_text

    if arguments.paths:
        raise InputError("--against checks the whole working tree; name no files with it")
    root = _root(arguments)
    if arguments.summary is None:
        from .trial import tried

        checked = tried(check_proposal(root, arguments.against, author=arguments.author), arguments.pool)
    else:
        from .request import summarised

        checked, summary = summarised(root, arguments.against, arguments.author, arguments.pool)
        write_file(Path(arguments.summary), summary.encode())
    if arguments.annotate:
        print(*filter(None, [annotations(checked.findings, checked.proposal.site), request_counts(checked)]), sep="\n")
    else:
        print(request_json(checked) if arguments.json else request_text(checked))
    return ERRORS_FOUND if checked.errors else FINE


def _pool(arguments: argparse.Namespace) -> int:
    from .builds import pool

    print(f"results: {pool(_root(arguments), _say, arguments.cluster)}")
    return FINE


def _site(arguments: argparse.Namespace) -> int:
    from .builds import site

    archive = Path(arguments.archive) if arguments.archive is not None else None
    page = site(_root(arguments), _say, _warn, archive, cluster=arguments.cluster)
    print(Reason("commands.site_built", page=str(page)))
    return FINE


def _deposit(arguments: argparse.Namespace) -> int:
    from .builds import deposit

    deposit(_root(arguments), Path(arguments.file), _say, arguments.cluster)
    print(f"wrote {arguments.file}")
    return FINE


def _count(text: str) -> int:
    """A number of runs to name."""
    return whole(text, 1, MOST_EXCHANGES)


def _exchange(arguments: argparse.Namespace) -> int:
    from .pipeline import exchange
    from .results.publish.exchanges import exchange_json, exchange_text

    plans = exchange(_root(arguments), arguments.count)
    print(exchange_json(plans) if arguments.json else exchange_text(plans))
    return FINE


def _correct(arguments: argparse.Namespace) -> int:
    from .records.change.writing import correct, given_value
    from .records.model.changes import ABSENT

    if not arguments.changes:
        raise InputError("nothing to correct; wanted --set POINTER VALUE or --remove POINTER")
    changes = [(pointer, given_value(*value) if value else ABSENT) for pointer, *value in arguments.changes]
    return _tell_change(correct(_root(arguments), arguments.id, changes, why=arguments.why, by=arguments.by, month=arguments.month))


def _retract(arguments: argparse.Namespace) -> int:
    from .records.change.writing import retract

    return _tell_change(retract(_root(arguments), arguments.id, why=arguments.why, by=arguments.by, month=arguments.month))


def _tell_change(written: Written) -> int:
    from .records.change.writing import change_text
    from .records.report import findings_text

    print(change_text(written))
    if written.findings:
        print(findings_text(written.findings), file=sys.stdout if written.kept else sys.stderr)
    if not written.kept:
        print(f"edgehold: {Reason('commands.change_unsound')}", file=sys.stderr)
        return ERRORS_FOUND
    print(f"wrote {written.path}")
    return FINE


def _draft(arguments: argparse.Namespace) -> int:
    from .review.command import draft_of, put, told

    root = _root(arguments)
    if getattr(arguments, "card", False):
        from .cards.of_repository import card_of

        print(card_of(root, arguments.id, arguments.version))
        return FINE
    if getattr(arguments, "questions", False):
        from .review.method_drafts import answers_text

        print(answers_text(), end="")
        return FINE
    draft = draft_of(root, arguments)
    if arguments.print:
        print(draft.text, end="")
        print(Reason("commands.place", path=str(draft.path)), file=sys.stderr)
        return FINE
    placed = put(root, draft, arguments.draft)
    if told(placed):
        print(told(placed), file=sys.stdout if placed.kept else sys.stderr)
    if not placed.kept:
        print(f"edgehold: {Reason('commands.draft_unsound')}", file=sys.stderr)
        return ERRORS_FOUND
    print(*(f"wrote {path}" for path in placed.paths), sep="\n")
    return FINE


def _intake(arguments: argparse.Namespace) -> int:
    from .sheets.taking import take_in
    from .sheets.telling import intake_json, intake_text

    plan, output = (Path(name) if name else None for name in (arguments.plan, arguments.output))
    intake, written = take_in(
        _root(arguments), Path(arguments.file), plan=plan, output=output, draft=arguments.draft, place=arguments.place
    )
    said = intake_json if arguments.json else intake_text
    print(said(intake, arguments.file, str(written or "")))
    return FINE if intake.whole else ERRORS_FOUND


def _plan(arguments: argparse.Namespace) -> int:
    from .planning.command import advice_for
    from .planning.house import write_plan
    from .planning.output import advice_json, advice_text

    if arguments.tables is not None:
        return _share(arguments)
    root = _root(arguments)
    advice = advice_for(root, arguments, _silent if sys.stderr.isatty() else _say)
    files: tuple[Path, ...] = ()
    if not arguments.dry:
        if arguments.sheets is not None:
            from .sheets.giving import give_out, refuse_used

            refuse_used(Path(arguments.sheets))
        files = write_plan(root, advice.plan, arguments.output, arguments.by)
        if arguments.sheets is not None:
            files += give_out(root, advice.plan, Path(arguments.sheets))
    if arguments.card:
        from .cards.address import ask_for
        from .planning.card import plan_card

        print(plan_card(advice, ask_for(root, advice.plan.protocol)))
    else:
        print(advice_json(advice) if arguments.json else advice_text(advice))
    for file in files:
        print(f"wrote {file}", file=sys.stderr)
    return FINE


def _share(arguments: argparse.Namespace) -> int:
    from .planning.command import shared_for
    from .planning.house import table_folder, write_shared
    from .planning.tables_output import shared_json, shared_text

    root = _root(arguments)
    shared = shared_for(root, arguments)
    files: tuple[Path, ...] = ()
    if not arguments.dry:
        from .sheets.giving import give_out, refuse_used

        folder = Path(arguments.sheets or shared.plan.id)
        for number in range(1, len(shared.plan.tables) + 1):
            refuse_used(table_folder(folder, number) / "print")
        files = write_shared(root, shared, arguments.output, folder, arguments.by)
        for number, part in enumerate(shared.plan.tables, 1):
            files += give_out(root, part, table_folder(folder, number) / "print")
    print(shared_json(shared) if arguments.json else shared_text(shared))
    for file in files:
        print(f"wrote {file}", file=sys.stderr)
    return FINE


def _report(arguments: argparse.Namespace) -> int:
    from .records.report import findings_text
    from .report.assemble import report_json
    from .report.command import open_submission, report_at, write_html
    from .report.plain import report_text

    weekly = arguments.cuts_a_week
    if weekly is not None and not 0 < weekly < 1e6:
        raise InputError(f"got {weekly:g} cuts a week, wanted more than 0 and less than a million")
    root = _root(arguments)
    opened = open_submission(root, arguments.submission)
    if opened.record is None:
        print(findings_text(opened.findings))
        return ERRORS_FOUND
    table, pool = (Path(name) if name else None for name in (arguments.table, arguments.pool))
    report = report_at(root, opened, table, weekly, pool)
    if arguments.card:
        from .cards.address import ask_for
        from .report.card import report_card

        print(report_card(report, ask_for(root, report.record.protocol)))
    else:
        print(report_json(report) if arguments.json else report_text(report))
    if arguments.html is not None:
        write_html(report, Path(arguments.html))
        print(f"wrote {arguments.html}", file=sys.stderr)
    return FINE


def _demo(arguments: argparse.Namespace) -> int:
    from .demo import PUBLISHED_SEED, write_demo

    drawn_from = PUBLISHED_SEED if arguments.seed is None else arguments.seed
    files = write_demo(_root(arguments), drawn_from)
    print(Reason("commands.demonstration", files=len(files), seed=drawn_from))
    return FINE


def _print_missing(error: ModuleNotFoundError, extra: str) -> int:
    """Say which extra brings a library that is not installed; what no extra brings is a fault of the program."""
    library = str(error.name).split(".")[0]
    if library in CLUSTER_LIBRARIES:
        extra = "cluster"
    elif library not in EXTRA_LIBRARIES:
        raise error
    print(f"edgehold: {Reason('commands.missing', library=library, extra=extra)}", file=sys.stderr)
    return MISUSE


def _print_findings(error: FindingsError) -> int:
    from .records.report import findings_text

    print(findings_text(error.findings), file=sys.stderr)
    print(f"edgehold: {Reason('commands.not_built', error=str(error))}", file=sys.stderr)
    return ERRORS_FOUND


if __name__ == "__main__":
    sys.exit(main())
