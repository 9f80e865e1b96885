"""Whose results are linked: exchanges that both sides confirm, rings of invented people, carried results, roles."""

import json

import pytest

from edgehold.records import load_repository
from edgehold.records.linkage import linkage

from .builder import TODAY, make_repository, submission, write, write_person, write_submission


def file_of(who, name, blade=None, lot=None, sharpener=None, origin="measured", month="2026-05", **changes):
    """A submission by one person, with a blade, a lot and an edge of their own where nothing else is said."""
    text = json.dumps(submission({"/id": name, "/month": month, "/origin": origin, **changes}))
    mine = text.replace('"wren', f'"{who}').replace('"tern', f'"{who}')
    record = json.loads(mine)
    if origin == "simulated":
        record["blades"][0]["steel"] = None
    record["people"] = [{"handle": one, "agreed": "yes"} for one in sorted({who, *([sharpener] if sharpener else [])})]
    if blade:
        record["blades"][0]["key"] = blade
        for one in record["preparations"]:
            one["blade"] = blade
    if lot:
        record["lots"][0]["key"] = lot
        for one in record["runs"]:
            one["lot"] = lot
    if sharpener:
        for one in record["preparations"]:
            one["sharpener"] = sharpener
    return record


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path, [])


def found(root):
    repository = load_repository(root, today=TODAY)
    assert not repository.errors, [(f.file, f.pointer, f.message) for f in repository.errors]
    return linkage(repository)


def account(root, who, number, **more):
    write_person(root, who, format="person/1.2.0", account=str(number), **more)


def test_an_exchange_counts_once_both_sides_say_so(root):
    write_submission(root, file_of("wren", "wren-a"))
    write_submission(root, file_of("tern", "tern-a", blade="wren.galley"))
    assert found(root).linked == frozenset()  # tern alone says that wren's blade was there
    account(root, "wren", 101, exchanged_with=["tern"])
    assert found(root).linked == {"wren-a", "tern-a"}


def test_a_line_of_somebody_without_an_account_confirms_nothing(root):
    write_submission(root, file_of("wren", "wren-a"))
    write_submission(root, file_of("tern", "tern-a", blade="wren.galley"))
    write_person(root, "wren", format="person/1.2.0", exchanged_with=["tern"])
    assert found(root).linked == frozenset()


@pytest.mark.parametrize("answer", [{"lot": "tern.coil"}, {"sharpener": "tern"}, {"blade": "tern.galley"}])
def test_a_file_of_the_other_one_confirms_it_too(root, answer):
    write_submission(root, file_of("wren", "wren-a", **answer))
    write_submission(root, file_of("tern", "tern-a", blade="wren.galley"))
    assert found(root).linked == {"wren-a", "tern-a"}


def test_of_simulated_results_one_side_is_enough(root):
    write_submission(root, file_of("wren", "wren-a", origin="simulated"))
    write_submission(root, file_of("tern", "tern-a", blade="wren.galley", origin="simulated"))
    assert found(root).linked == {"wren-a", "tern-a"}


def ring(root, names):
    """People who exchange blades among themselves and confirm it."""
    for i, who in enumerate(names):
        other = names[(i + 1) % len(names)]
        write_submission(root, file_of(who, f"{who}-a", blade=f"{other}.galley"))
        account(root, who, 1000 + i, exchanged_with=[names[i - 1]])


def role(root, who):
    roles = {"format": "roles/1.0.0", "since": "2026-11", "roles": [{"handle": who, "may": ["decide"], "since": "2026-01"}]}
    write(root / "protocols/roles.json", json.dumps(roles))


def test_a_larger_ring_of_invented_people_is_not_linked_where_somebody_has_a_role(root):
    ring(root, ["wren", "tern", "knot"])
    role(root, "knot")
    ring_of_invented = [f"fake{i}" for i in range(6)]
    for i, who in enumerate(ring_of_invented):
        write_submission(root, file_of(who, f"{who}-a", blade=f"{ring_of_invented[i - 1]}.galley"))
        account(root, who, 2000 + i, exchanged_with=[ring_of_invented[(i + 1) % 6]])
    assert found(root).linked == {"wren-a", "tern-a", "knot-a"}


def test_naming_a_linked_persons_blade_links_nobody(root):
    ring(root, ["wren", "tern"])
    for i in range(5):
        write_submission(root, file_of(f"fake{i}", f"fake{i}-a", blade="wren.galley", lot="tern.coil"))
    assert found(root).linked == {"wren-a", "tern-a"}


def test_one_account_is_one_sender_and_exchanges_nothing_with_itself(root):
    for i, who in enumerate(("fake0", "fake1")):
        write_submission(root, file_of(who, f"{who}-a", blade=f"fake{1 - i}.galley"))
        account(root, who, 7)
    assert len(set(found(root).senders.values())) == 1 and found(root).linked == frozenset()


def test_what_is_carried_in_comes_from_the_carrier_until_its_owner_confirms(root):
    write_submission(root, file_of("wren", "wren-a"))
    carried = {"format": "carried/1.0.0", "kind": "carried", "submission": "wren-a", "by": "tern", "month": "2026-06"}
    write(root / "submissions/carried/wren-a/carried.json", json.dumps(carried))
    assert found(root).senders == {"wren-a": "tern"}
    account(root, "wren", 5)
    write(root / "submissions/carried/wren-a/confirmed.json", json.dumps(carried | {"kind": "confirmed", "by": "wren"}))
    assert found(root).senders == {"wren-a": "wren"}
