"""Holding requests against the provider's public API description, where one is at hand.

BRACEWATCH_API_DESCRIPTION names the description (OpenAPI 3, JSON). Without it nothing is checked.
"""

import json
import os
from functools import cache
from pathlib import Path
from typing import Any

from werkzeug.test import EnvironBuilder
from werkzeug.wrappers import Request

VARIABLE = "BRACEWATCH_API_DESCRIPTION"


@cache
def _description() -> tuple[Any, str] | None:
    """The description, and the address it speaks of."""
    if VARIABLE not in os.environ:
        return None
    from openapi_core import OpenAPI

    described = json.loads(Path(os.environ[VARIABLE]).read_text(encoding="utf-8"))
    return OpenAPI.from_dict(described), described["servers"][0]["url"]


def fault_in(method: str, path: str, headers: dict[str, str], form: bytes) -> str | None:
    """What the description says against a request; None when it is in order, or no description is at hand."""
    found = _description()
    if found is None:
        return None
    description, base = found
    from openapi_core.contrib.werkzeug import WerkzeugOpenAPIRequest
    from openapi_core.exceptions import OpenAPIError

    told = {name: value for name, value in headers.items() if name not in ("Host", "Content-Length")}
    made = EnvironBuilder(path=path, base_url=base, method=method, headers=told, data=form)
    try:
        description.validate_request(WerkzeugOpenAPIRequest(Request(made.get_environ())))
    except OpenAPIError as error:
        return f"{method}: {error} {error.__cause__ or ''}"
    return None
