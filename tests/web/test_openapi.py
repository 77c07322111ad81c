"""Whatever is sent to whatever address the application names: an answer or a sentence, never a failure within.

1,000 cases in the tests, by schemathesis from the application's own OpenAPI; 20,000 in `make soak`.
"""

import os
import warnings

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from ownship.web import access
from ownship.web.app import create_app

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import schemathesis

CASES = int(os.environ.get("OWNSHIP_OPENAPI_CASES", "1000"))
WAIT_S = 600  # an end to waiting, no measure: a page that matches a model takes seconds, more on a busy machine
TOKEN = "t" * 43
SENT = {"host": "127.0.0.1", access.HEADER: TOKEN, "cookie": f"{access.COOKIE}={TOKEN}"}


def operations():
    schema = schemathesis.openapi.from_asgi("/openapi.json", create_app(), headers={"host": "127.0.0.1"})
    return [o.ok() for o in schema.get_all_operations()]


OPERATIONS = operations()
EACH = -(-CASES // len(OPERATIONS))


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda o: f"{o.method} {o.path}")
def test_nothing_fails_within(operation, tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    failed = []

    @seed(20261125)
    @given(case=operation.as_strategy())
    @settings(max_examples=EACH, deadline=None, database=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
    def sent(case):
        answer = case.call(headers=SENT, timeout=WAIT_S)
        if answer.status_code >= 500:
            failed.append((case.as_curl_command(), answer.status_code))

    sent()
    assert not failed, failed[:3]
