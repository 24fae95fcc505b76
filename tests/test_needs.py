"""A check that a machine can make is never skipped in silence."""

import pytest

from tests.needs import go_without


def test_what_is_there_is_not_gone_without(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOOPWISE_HAS", "ffmpeg axe")
    with pytest.raises(pytest.fail.Exception, match="no axe, though"):
        go_without("axe", "no axe")
    with pytest.raises(pytest.skip.Exception, match="no browser"):
        go_without("browser", "no browser")
