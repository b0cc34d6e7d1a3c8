"""One Spark for all tests here: a driver and two executors, each a process of its own."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from ledger.engines.spark import missing, spark_session

if TYPE_CHECKING:
    from pyspark.sql import SparkSession


@pytest.fixture(scope="session")
def spark(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SparkSession]:
    """Give a Spark with two real executors; skips, saying why, where it cannot run.

    With LOCKRING_NEEDS_SPARK set, as in `.ci/run`, it fails there instead.
    """
    if lacks := missing():
        assert not os.environ.get("LOCKRING_NEEDS_SPARK"), lacks
        pytest.skip(lacks)
    folder = tmp_path_factory.mktemp("spark")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SPARK_WORKER_DIR", str(folder / "executors"))
        patch.setenv("SPARK_LOCAL_IP", "127.0.0.1")
        session = spark_session(
            "local-cluster[2,1,1024]",
            spark_ui_enabled="false",
            spark_ui_showConsoleProgress="false",
            # Nothing begins before both executors are there.
            spark_scheduler_minRegisteredResourcesRatio="1.0",
            spark_driver_host="127.0.0.1",
            spark_local_dir=str(folder / "scratch"),
            spark_sql_warehouse_dir=str(folder / "warehouse"),
            spark_sql_shuffle_partitions="2",
            # Each query runs once: what a compiler would gain is never earned back.
            spark_driver_extraJavaOptions="-XX:TieredStopAtLevel=1 -XX:+UseSerialGC",
            spark_executor_extraJavaOptions="-XX:TieredStopAtLevel=1 -XX:+UseSerialGC",
            spark_log_level="ERROR",
        )
        yield session
        session.stop()
