#!/usr/bin/env python3
"""Validates an RO-Crate with rocrate-validator (PyPI: roc-validator), without the network.

The validator asks the network for the crate's JSON-LD context. Here it gets the one that the package
rocrate brings along, whatever version of RO-Crate is asked for: later contexts only add terms.

Usage: tests/outside/crate.py FOLDER
"""

import io
import sys
import urllib.request
from email.message import Message
from importlib.resources import files
from urllib.response import addinfourl

import requests
import urllib3

CONTEXTS = ("https://w3id.org/ro/crate/",)
TEXT = files("rocrate").joinpath("data/ro-crate.jsonld").read_bytes()


class Given(urllib.request.HTTPSHandler):
    """Answers for the context, and for nothing else."""

    def https_open(self, request):
        url = request.full_url
        if not url.startswith(CONTEXTS):
            raise OSError(f"the validator asked the network for {url}")
        headers = Message()
        headers["Content-Type"] = "application/ld+json"
        answer = addinfourl(io.BytesIO(TEXT), headers, url, 200)
        answer.msg = "OK"
        return answer


def send(self, request, **more):
    """The same for whoever asks by the package requests."""
    if not request.url.startswith(CONTEXTS):
        raise requests.ConnectionError(f"the validator asked the network for {request.url}")
    response = requests.Response()
    response.status_code, response.url, response.request = 200, request.url, request
    response.headers["Content-Type"] = "application/ld+json"
    response.raw = urllib3.HTTPResponse(
        body=io.BytesIO(TEXT), headers=response.headers, status=200, preload_content=False,
        request_url=request.url)
    return response


def main():
    urllib.request.install_opener(urllib.request.build_opener(Given))
    requests.adapters.HTTPAdapter.send = send
    from rocrate_validator import services
    from rocrate_validator.models import Severity, ValidationSettings

    result = services.validate(ValidationSettings(
        rocrate_uri=sys.argv[1], profile_identifier="ro-crate-1.2",
        requirement_severity=Severity.REQUIRED))
    for issue in result.get_issues():
        print(f"{issue.severity.name}: {issue.check.identifier}: {issue.message}")
    print("valid" if result.passed() else "not valid")
    sys.exit(0 if result.passed() else 1)


if __name__ == "__main__":
    main()
