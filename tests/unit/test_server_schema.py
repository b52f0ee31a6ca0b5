"""schemathesis against the server's own description: every answer is as it says, none is an error of the program."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.specs.openapi.checks import positive_data_acceptance

from graylight.server.app import application
from graylight.server.desk import Desk
from graylight.server.outside import Outside

ENDLESS = "/api/events"
OPERATIONS = [
    (method, path)
    for path, methods in application(Desk(Path("."))).openapi()["paths"].items()
    for method in methods
    if path != ENDLESS
]
EXAMPLES = 15


@pytest.fixture(scope="module")
def schema(small, tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    shutil.copytree(small, home / "country")
    outside = Outside(store=tmp_path_factory.mktemp("store"), offline=True)
    desk = Desk(home, home / "country", outside=outside)
    yield schemathesis.openapi.from_asgi("/api/openapi.json", application(desk))
    desk.close()


@pytest.mark.parametrize(("method", "path"), OPERATIONS)
def test_answers_are_as_the_schema_says(schema, method, path):
    operation = schema[path][method]
    inside = st.none() | st.tuples(st.floats(-114.85, -114.80), st.floats(40.437, 40.471))

    @settings(
        max_examples=EXAMPLES, derandomize=True, deadline=None, database=None, suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )  # fmt: skip
    @given(case=operation.as_strategy(), place=inside)
    def run(case, place):
        if place is not None and case.query and "lon" in case.query:
            case.query.update(lon=place[0], lat=place[1])  # else hardly any place lies in the country
        # a place outside the country fits the schema and is refused all the same
        case.call_and_validate(excluded_checks=[positive_data_acceptance])

    run()
