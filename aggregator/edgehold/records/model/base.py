"""What all records share: strictness, and the few scalar types that many fields use.

Rules that concern one field alone live here and in the schema. Rules that need two fields, or two files,
are in ``edgehold.records.rules``, so that pydantic and JSON Schema always agree about a single file's form.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from edgehold.records.whole_numbers import LARGEST_EXACT_INTEGER


class Record(BaseModel):
    """A part of a file: no unknown fields, no changes after reading, finite numbers only, no silent conversions."""

    model_config = ConfigDict(
        strict=True,
        defer_build=True,  # what is read is built at its first reading, with all that it holds; most commands read few kinds of file
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        regex_engine="python-re",  # the engine jsonschema uses, so that both read a pattern alike
    )


def _integral(value: object) -> object:
    """Read 3.0 as 3, as JSON Schema's "integer" does; leave everything else to the type."""
    if isinstance(value, float) and value.is_integer():
        return int(value)
    return value


# "(?!\n)$" and not "$" alone: in Python a bare "$" also matches before a final line break.
HANDLE_FORM, SLUG_FORM = r"[a-z0-9][a-z0-9-]{0,29}[a-z0-9]", r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])"
KEY_FORM = HANDLE_FORM + r"\.[a-z0-9](?:[a-z0-9-]{0,29}[a-z0-9])?"
MONTH_FORM = r"[0-9]{4}-(?:0[1-9]|1[0-2])"
ACCOUNT_FORM = r"[0-9A-Za-z](?:[0-9A-Za-z-]{0,62}[0-9A-Za-z])?"
HANDLE_PATTERN, SLUG_PATTERN = rf"^{HANDLE_FORM}(?!\n)$", rf"^{SLUG_FORM}(?!\n)$"
Handle = Annotated[str, Field(pattern=HANDLE_PATTERN)]
Key = Annotated[str, Field(pattern=rf"^{KEY_FORM}(?!\n)$")]
Slug = Annotated[str, Field(pattern=SLUG_PATTERN)]
Version = Annotated[str, Field(pattern=r"^(?:0|[1-9][0-9]{0,3})\.(?:0|[1-9][0-9]{0,3})\.(?:0|[1-9][0-9]{0,3})(?!\n)$")]
Month = Annotated[str, Field(pattern=rf"^{MONTH_FORM}(?!\n)$")]
Account = Annotated[str, Field(pattern=rf"^{ACCOUNT_FORM}(?!\n)$")]
"""The host's stable id of an account, as text: it stays when the account is called otherwise."""
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}(?!\n)$")]
ShortText = Annotated[str, Field(min_length=1, max_length=200)]
LongText = Annotated[str, Field(min_length=1, max_length=5000)]
Label = Annotated[str, Field(min_length=1, max_length=60)]
Whole = Annotated[int, Field(ge=0, le=LARGEST_EXACT_INTEGER), BeforeValidator(_integral)]
Count = Annotated[int, Field(ge=1, le=LARGEST_EXACT_INTEGER), BeforeValidator(_integral)]
Finite = Annotated[float, Field(ge=-1e15, le=1e15)]
Positive = Annotated[float, Field(gt=0, le=1e15)]
NonNegative = Annotated[float, Field(ge=0, le=1e15)]
Percent = Annotated[float, Field(ge=0, le=100)]
Written = Annotated[str, Field(min_length=1, max_length=40)] | Finite
"""A number as a person wrote it: a JSON number, or text such as ``"3 1/8"``, ``"0,5"`` or ``"25 (5)"``."""


class Quantity(Record):
    """A value and its unit as written, the canonical value beside them."""

    written: Written
    """The value as written: a number, or text such as "3 1/8", "0,5" or "25 (5)" (the parentheses are an uncertainty)."""
    unit: Label
    """The unit as written, from the closed list of units (aggregator/registers/units.json)."""
    canonical: Finite | None = None
    """The same value in the canonical unit of its kind; null when the program shall compute it. Checked when given."""


class ProtocolReference(Record):
    """One version of one protocol."""

    id: Slug
    """The protocol's id, which is its folder under protocols/."""
    version: Version
    """MAJOR.MINOR.PATCH."""


Origin = Literal["measured", "simulated"]
Interest = Literal["none", "owner", "maker", "seller"]
EdgePart = Literal["whole", "heel", "middle", "tip"]
