"""Settings of a deployment are checked at start, and every fault is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.foundation.settings import InvalidSettings, read_settings


def test_an_empty_environment_serves_the_rules_of_the_checkout() -> None:
    settings = read_settings({})
    assert (settings.rules / "core").is_dir()
    assert settings.most_body_bytes == 65536


def test_every_bad_setting_is_named_at_once(tmp_path: Path) -> None:
    with pytest.raises(InvalidSettings) as caught:
        read_settings(
            {
                "LIMBTIER_RULES": str(tmp_path / "nowhere"),
                "LIMBTIER_DATABASE": str(tmp_path / "no" / "file"),
                "LIMBTIER_MOST_BODY_BYTES": "lots",
            }
        )
    messages = [item.message for item in caught.value.diagnostics]
    assert [message.split(":")[0] for message in messages] == [
        "LIMBTIER_RULES",
        "LIMBTIER_DATABASE",
        "LIMBTIER_MOST_BODY_BYTES",
    ]


@pytest.mark.parametrize("length", ["0", "-1", "1023", "99999999", "1e5", "٦٥٥٣٦"])
def test_a_length_that_is_no_sensible_number_of_bytes_is_refused(length: str) -> None:
    with pytest.raises(InvalidSettings):
        read_settings({"LIMBTIER_MOST_BODY_BYTES": length})
