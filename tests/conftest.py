"""What every test may use: the outside data, and how Hypothesis searches."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

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
