import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--histories", type=int, default=6, help="How many pairs of twins to try.")


@pytest.fixture
def histories(request: pytest.FixtureRequest) -> int:
    return int(request.config.getoption("--histories", 6))
