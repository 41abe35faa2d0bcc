"""On one's own machine, too, a fit takes one thread; more only fight over matrices as small as ours."""

import os
import subprocess
import sys

import pytest

THREADS_OF_A_RUN = """
import runpy
from threadpoolctl import threadpool_info
try:
    runpy.run_module("registry.folder", run_name="__main__")
except SystemExit:
    print({library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"})
"""


@pytest.mark.parametrize("chosen, used", [({}, "{1}"), ({"OPENBLAS_NUM_THREADS": "2"}, "{2}")])
def test_measuring_a_folder_uses_one_thread_unless_its_user_chose_otherwise(chosen, used):
    """threadpoolctl asks the loaded libraries themselves."""
    environment = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    run = subprocess.run(
        [sys.executable, "-c", THREADS_OF_A_RUN, "--help"],
        env=environment | chosen,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.splitlines()[-1] == used
