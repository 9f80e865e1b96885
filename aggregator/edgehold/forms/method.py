"""How the answers of a method's author become its files, as data for the browser: the same questions, tables and sentences that
``edgehold.review`` uses.
"""

from __future__ import annotations

from edgehold.records.canonical import Repository
from edgehold.records.facts import NUMBERS
from edgehold.records.layout import RESERVED_IDS, RESERVED_PROTOCOLS
from edgehold.records.model.base import HANDLE_PATTERN, SLUG_PATTERN
from edgehold.records.model.protocol import PROTOCOL_FORMAT
from edgehold.records.model.review import EVENT_FORMAT
from edgehold.records.read.form import pattern_cure
from edgehold.records.read.opening import LARGEST_BYTES
from edgehold.records.rules.settings_tables import TABLES
from edgehold.records.schemas import FALLBACK_URL, site_url
from edgehold.records.units import UNITS_IN_SENTENCES
from edgehold.review import answer_lines, method_settings, method_text, questions
from edgehold.words import Reason, group

from .submission import SCHEMA_CODES, Rules, messages, patterns_in, schema_of


def method_rules(repository: Repository) -> Rules:
    """Everything that the form of questions needs."""
    return {
        "questions": [_question(question) for question in questions.QUESTIONS],
        "parts": [[part, Reason(f"method_questions.part_{part}")] for part in questions.PARTS],
        "says": group("method_draft"),
        "schema": schema_of(PROTOCOL_FORMAT, site_url(repository.root)),
        "reserved": sorted(RESERVED_IDS | RESERVED_PROTOCOLS),
        "patterns": {"handle": HANDLE_PATTERN, "id": SLUG_PATTERN},
        "known": sorted({name for name, _ in repository.protocols}),
        "format": PROTOCOL_FORMAT,
        "event_format": EVENT_FORMAT,
        "version": method_settings.VERSION,
        "practice_minutes": method_settings.PRACTICE_MINUTES,
        "longest_label": method_settings.LONGEST_LABEL,
        "longest_line": answer_lines.LONGEST_LINE,
        "prior_df": method_settings.PRIOR_DF,
        "work_units": method_settings.WORK_UNITS,
        "readings": method_settings.READINGS,
        "held": method_settings.HELD,
        "usual_threats": method_settings.USUAL_THREATS,
        "first_own_step": method_settings.FIRST_OWN_STEP,
        "own_steps": method_text.OWN_STEPS,
        "blocks": method_text.BLOCKS,
        "tables": list(TABLES),
        "numbers": list(NUMBERS),
        "places": answer_lines.PLACES,
        "whole": answer_lines.WHOLE,
        "written": questions.WRITTEN,
    }


def reading_rules() -> Rules:
    """What reads the settings of a protocol's file in the browser, and says what is wrong with their form."""
    schema = schema_of(PROTOCOL_FORMAT, FALLBACK_URL)
    return {
        "schema": schema,
        "cures": {pattern: pattern_cure(pattern) for pattern in sorted(patterns_in(schema))},
        "messages": messages(SCHEMA_CODES),
        "bytes": LARGEST_BYTES["protocol"],
        "units": UNITS_IN_SENTENCES,
    }


def _question(question: questions.Question) -> Rules:
    return {
        "name": question.name,
        "part": question.part,
        "kind": question.kind,
        "needed": question.needed,
        "levels": question.levels,
        "choices": question.choices,
        "usual": question.usual,
        "label": question.label,
        "help": question.help,
        "example": question.example,
    }
