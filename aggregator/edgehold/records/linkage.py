"""Which results are linked with other people's, and who sent which: what anybody alone could have made up counts within bounds.

A *sender* is whoever a file comes from: the person behind ``submitted_by``, whatever handles one account has, or whoever carried it in
until its owner confirms it. Two people have *exchanged* something when the file of one says that it used a blade or a lot of the other's,
or an edge or a reading of the other's hands, and the other says so, too: by a file that used something of theirs, or by a line in their
own person file. Of simulated results one side is enough, as nobody stands behind them.

Linked are the results of those who, through a chain of exchanges, hang together with somebody who has a role in the repository; where
nobody with a role has exchanged anything, those of the largest group. A ring of invented people who exchange things among themselves is
therefore not linked, however many they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from .canonical import LoadedSubmission, Repository
from .groups import groups_of

LEAST = 2  # people in a chain of exchanges


@dataclass(frozen=True)
class Linkage:
    """Where every submission comes from.

    Attributes
    ----------
    senders : by the submission's id, whose it is.
    linked : ids of those that are linked.
    """

    senders: Mapping[str, str]
    linked: frozenset[str]

    def of(self, names: Collection[str]) -> Linkage:
        """The same of some submissions."""
        return Linkage({name: sender for name, sender in self.senders.items() if name in names}, self.linked.intersection(names))


def linkage(repository: Repository) -> Linkage:
    """Who sent every submission that counts, and which of them are linked."""
    senders = {s.record.id: _sender(s, repository) for s in repository.submissions}
    linked: set[str] = set()
    for origin in sorted({s.record.origin for s in repository.submissions}):
        own = [s for s in repository.submissions if s.record.origin == origin]
        people = _linked_people(own, senders, repository, one_side=origin == "simulated")
        linked |= {s.record.id for s in own if senders[s.record.id] in people}
    return Linkage(senders, frozenset(linked))


def _sender(submission: LoadedSubmission, repository: Repository) -> str:
    carried = repository.carried.get(submission.record.id)
    return carried.by if carried is not None and not carried.confirmed else submission.record.submitted_by


def _linked_people(own: list[LoadedSubmission], senders: Mapping[str, str], repository: Repository, *, one_side: bool) -> frozenset[str]:
    """Senders that hang together with somebody who has a role, or the largest group of them."""
    said = {(senders[s.record.id], other) for s in own for other in _others(s, repository)}
    said |= {(one, other) for one, others in repository.exchanged.items() for other in others}
    pairs = {pair for pair in said if pair[0] != pair[1] and (one_side or pair[::-1] in said)}
    first = _first_months(own, senders)
    groups = [found for group in groups_of(pairs) if len(found := group & first.keys()) >= LEAST]
    of_roles = {repository.names.person(role.handle) for role in (repository.roles.roles if repository.roles else ())}
    trusted = [group for group in groups if group & of_roles]
    if not trusted and groups:
        trusted = [min(groups, key=lambda group: (-len(group), min(first[one] for one in group), min(group)))]
    return frozenset().union(*trusted)


def _others(submission: LoadedSubmission, repository: Repository) -> Iterator[str]:
    """Whose blades, lots and hands a file says that it used."""
    for run in submission.runs:
        yield from (one for one in (run.hand, run.tester) if one is not None)
        owners = (key.partition(".")[0] for key in (run.blade, run.lot, run.reading_lot) if key is not None)
        yield from (repository.names.person(owner) for owner in owners)


def _first_months(own: Iterable[LoadedSubmission], senders: Mapping[str, str]) -> dict[str, str]:
    """The month of every sender's first file."""
    months: dict[str, list[str]] = defaultdict(list)
    for submission in own:
        months[senders[submission.record.id]].append(submission.record.month)
    return {sender: min(met) for sender, met in months.items()}
