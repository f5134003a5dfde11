"""Fixtures and options of all tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

ROOT = Path(__file__).resolve().parent.parent

settings.register_profile("even", derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
settings.load_profile("even")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--run-slow", action="store_true", help="run the long checks too")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--run-slow"):
        return
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="long check: run with --run-slow"))


@pytest.fixture
def fixtures() -> Path:
    return ROOT / "fixtures"
