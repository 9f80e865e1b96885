"""Templates as jinja compiled them, kept from build to build like everything else: compiling takes longer than filling most of them in."""

from __future__ import annotations

from jinja2 import BytecodeCache
from jinja2.bccache import Bucket

from edgehold.engine.tasks import found_as, keep_as


class Compiled(BytecodeCache):
    """Keeps what was compiled by the template's name and the hash of its text; without a cache, nothing."""

    def load_bytecode(self, bucket: Bucket) -> None:
        found = found_as(Compiled, (bucket.key, bucket.checksum))
        if isinstance(found, bytes):
            bucket.bytecode_from_string(found)

    def dump_bytecode(self, bucket: Bucket) -> None:
        keep_as(Compiled, (bucket.key, bucket.checksum), bucket.bytecode_to_string())
