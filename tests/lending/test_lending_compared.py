"""The club's rule beats fixed weeks on waiting and evenness, in a made-up busy club."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

SCRIPT = Path(__file__).resolve().parents[1] / "benchmarks" / "lending_two_years.py"


def simulation() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lending_two_years", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_a_year_by_the_rule_waits_less_and_shares_more_evenly_than_fixed_weeks() -> None:
    ours, theirs = simulation().compare(members=60, days=365, seed=1)
    assert ours.median_wait_days < theirs.median_wait_days / 2
    assert ours.longest_wait_days <= theirs.longest_wait_days
    assert ours.share_of_days_used > theirs.share_of_days_used + 0.2
    assert ours.spread < theirs.spread
    assert ours.without <= theirs.without
    assert ours.served > theirs.served
