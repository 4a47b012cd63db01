"""Every call of the API against its own description: whatever is sent, the answer is one that is described."""

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import CHECKS

from company.models import ApiToken
from config.api import api
from tests.builders import NOW, make_company, make_item, make_person, make_pull_row, make_show

schemathesis.checks.load_all_checks()
schema = schemathesis.openapi.from_dict(api.get_openapi_schema())


@pytest.fixture
def token(transactional_db):
    make_company()
    item, show = make_item(), make_show()
    make_pull_row(show, item=item)
    return ApiToken.make(person=make_person("technician"), name="schema", made_at=NOW)[1]


@schema.parametrize()
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_every_answer_is_one_that_is_described(case, token, live_server):
    case.call_and_validate(
        base_url=live_server.url,
        headers={"Authorization": f"Bearer {token}"},
        checks=[
            schemathesis.checks.not_a_server_error,
            *CHECKS.get_by_names(["status_code_conformance", "content_type_conformance", "response_schema_conformance"]),
        ],
    )
