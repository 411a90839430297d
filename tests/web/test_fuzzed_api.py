"""The HTTP API under requests that schemathesis makes up from its description, over a real connection.

Whatever is sent: no fault of ours (5xx), no answer that the description does not tell, and no answer of another form.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from knocking import Place, running
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
EXAMPLES = 12  # of each operation and of each kind, right and wrong; a longer run found no more


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_nothing_made_up_breaks_the_api(
    request: pytest.FixtureRequest, place: Callable[..., Place], database: str
) -> None:
    made = place(where=request.getfixturevalue(f"{database}_copies")())
    tried = 0
    with running(made) as address:
        schema = schemathesis.openapi.from_url(f"{address}/api/openapi.json")
        for found in schema.get_all_operations():
            operation = found.ok()
            if operation.path.endswith("/live"):  # it answers for ever
                continue
            tried += 1
            for mode in GenerationMode:
                _fuzz(operation, mode)
    assert tried > 10


def _fuzz(operation: schemathesis.APIOperation, mode: GenerationMode) -> None:
    @given(case=operation.as_strategy(generation_mode=mode))
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def one(case: schemathesis.Case) -> None:
        case.validate_response(case.call(timeout=60), checks=CHECKS)

    with suppress(Unsatisfiable):  # an operation without parameters cannot be asked wrongly
        one()
