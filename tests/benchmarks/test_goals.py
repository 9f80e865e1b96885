"""A missed goal is missed, and so is one that nobody measured."""

from tests.benchmarks.goals import SCRIPTS, Goal, keep, table


def test_a_goal_is_kept_below_its_bound_or_from_it_on():
    assert Goal("as fast", 4, 4.0, "times", at_least=True).verdict == "kept"
    assert Goal("as fast", 4, 3.9, "times", at_least=True).verdict == "missed"
    assert Goal("seconds", 60, 59.0).verdict == "kept" and Goal("seconds", 60, 60.0).verdict == "missed"


def test_without_a_figure_a_goal_says_what_happened():
    assert Goal("seconds", 60, None).row() == "| seconds | below 60 s | – | not measured |"
    assert Goal("seconds", 60, None, instead="not finished").row() == "| seconds | below 60 s | not finished | missed |"


def test_the_table_has_every_script_and_is_whole_only_where_all_were_run_and_kept(tmp_path):
    for script in SCRIPTS:
        assert f"Not measured (`{script}.py`)" in table(tmp_path)[0] and not table(tmp_path)[1]
        assert keep(script, [Goal(f"what {script} does", 1.0, 0.5)], tmp_path) == 0
    text, whole = table(tmp_path)
    assert whole and all(f"| what {script} does | below 1 s | 0.5 s | kept |" in text for script in SCRIPTS)
    assert keep("forms", [Goal("a plan anew", 100, 101.4, "ms")], tmp_path) == 1
    text, whole = table(tmp_path)
    assert not whole and "| a plan anew | below 100 ms | 101 ms | missed |" in text
