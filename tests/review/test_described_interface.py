"""Requests made from the description of the interface end in no fault of the program."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings

from loganalyze.review.application.interface_description import interface_description

DESCRIBED = schemathesis.openapi.from_dict(interface_description())
EXAMPLES = 6
OPERATIONS = [one.ok() for one in DESCRIBED.get_all_operations()]


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.label)
def test_no_described_request_ends_in_a_fault(own_desk, operation):
    browser = own_desk.owner()
    seen = set()

    @settings(max_examples=EXAMPLES, deadline=None, database=None, derandomize=True,
              suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def ask(case) -> None:
        if "key" in case.path_parameters:
            case.path_parameters["key"] = own_desk.key
        sent = case.as_transport_kwargs(base_url=own_desk.address)
        headers = {name: value for name, value in (sent.pop("headers", None) or {}).items()
                   if name.lower() not in ("authorization", "host", "x-csrf-token")}
        cookies = sent.pop("cookies", None)
        answer = browser.request(**{name: value for name, value in sent.items()
                                    if value is not None}, headers=headers)
        assert cookies in (None, {})
        assert answer.status_code < 500, answer.text
        assert str(answer.status_code) in operation.definition.raw["responses"], answer.text
        seen.add(answer.status_code)

    ask()
    assert seen
