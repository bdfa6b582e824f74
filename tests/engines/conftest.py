"""Every engine a ledger can be held by, as a place where a test makes new ledgers."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger, open_ledger
from tests.engines.servers import postgres_server, spark_settings

Maker = Callable[[], Ledger]
_numbers = itertools.count(1)


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a real server, where each test makes a database of its own."""
    yield from postgres_server()


@pytest.fixture(scope="session")
def spark(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A Spark on this machine with settings for small tables."""
    folder = spark_settings(tmp_path_factory.mktemp("spark-settings"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SPARK_CONF_DIR", str(folder))
        # The quick compiler alone: these programs end before the thorough one has paid for itself.
        patch.setenv("JAVA_TOOL_OPTIONS", "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC")
        yield


def new_database(server: str, like: str = "template1", name: str = "", language: str = "") -> str:
    """The address of a new database, empty or a copy of one that nobody is connected to.

    With a *language* texts are sorted as it has it; the copied one is ``template0`` then.
    """
    import psycopg

    name = name or f"ledger_{next(_numbers)}"
    with psycopg.connect(f"{server.replace('postgres://', 'postgresql://')}/postgres", autocommit=True) as connection:
        sorted_by = f" LOCALE_PROVIDER icu ICU_LOCALE '{language}'" if language else ""
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {like}{sorted_by}".encode())
    return f"{server}/{name}"


@pytest.fixture(scope="session")
def postgres_ledger(postgres: str) -> Maker:
    """Makes new ledgers on the server."""
    return lambda: open_ledger(new_database(postgres))


@pytest.fixture(scope="session")
def spark_ledger(spark: None, tmp_path_factory: pytest.TempPathFactory) -> Maker:
    """Makes new registries, each in a folder of its own."""

    def make() -> Ledger:
        folder: Path = tmp_path_factory.mktemp("registry")
        return open_ledger(f"pyspark://{folder}?buckets=4")

    return make


@pytest.fixture(params=["postgres", "spark"], scope="session")
def elsewhere(request: pytest.FixtureRequest) -> Maker:
    """Makes new ledgers on each engine but the embedded one."""
    maker: Maker = request.getfixturevalue(f"{request.param}_ledger")
    return maker
