"""What every test may use: the outside data, and how Hypothesis searches."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from limbtier.engine.prepared import PreparedEdition
from limbtier.measures.working_days import WorkingCalendar
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.ready_rules import ready_rules

pytest_plugins = ("tests.support.databases",)

CHECKOUT = Path(__file__).resolve().parents[1]

# No deadline: no test may depend on the speed of the machine.
settings.register_profile(
    "local", deadline=None, max_examples=100, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("ci", settings.get_profile("local"), derandomize=True)
settings.register_profile("long", settings.get_profile("local"), max_examples=2000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "local"))


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of outside data (surveys, test vectors), which is not part of the checkout."""
    named = os.environ.get("LIMBTIER_SHARED_DATA")
    folder = Path(named) if named else CHECKOUT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip(f"needs the outside data, but {folder} is absent; LIMBTIER_SHARED_DATA can name it")
    return folder


@pytest.fixture(scope="session")
def rules() -> ReadyRules:
    """Return every edition of the checkout, ready to decide."""
    return ready_rules(CHECKOUT / "rules")


@pytest.fixture(scope="session")
def core(rules: ReadyRules) -> PreparedEdition:
    """Return the core edition, ready to decide."""
    return rules.editions["core-2026.1.0"]


@pytest.fixture(scope="session")
def england(rules: ReadyRules) -> WorkingCalendar:
    """Return the working calendar of England."""
    return rules.calendars["england"]
