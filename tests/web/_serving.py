"""A server of the page in a thread of its own, on a coarse case that solves in a moment."""

import asyncio
import http.client
import json
import threading
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from stillroot import read_case

pytest.importorskip("starlette", reason="the extra explore is not installed")
pytest.importorskip("uvicorn", reason="the extra explore is not installed")

from stillroot.explore.desk import Desk
from stillroot.explore.server import LOOPBACK, Server, bound_socket, new_token
from stillroot.inputs.vary import with_keys

ROOT = Path(__file__).parents[2]
SOFT = with_keys(
    read_case(ROOT / "docs" / "cases" / "soft_posterior.toml"), {"bone.law": "linear"}
)  # linear bone answers in a moment
COARSE = SOFT.with_numerics(element_mm=1.0, harmonics=3)


@dataclass
class Served:
    port: int
    token: str
    desk: Desk
    refining: list = field(default_factory=list)
    """How many refined answers were worked on at a time, as each began."""
    stopped: list = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://{LOOPBACK}:{self.port}/{self.token}/"

    def ask(self, method, path, body=None, *, token=None, **headers):
        """Return status, headers and body of a request, sent exactly as given."""
        connection = http.client.HTTPConnection(LOOPBACK, self.port, timeout=60)
        text = None if body is None else json.dumps(body)
        given = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, f"/{self.token if token is None else token}/{path}", text, given)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        return answer.status, answer.headers, content

    def solve(self, case, load=0, tab="one", until="directions"):
        """Return the messages about a case, up to a kind of answer; then the connection is closed."""
        connection = http.client.HTTPConnection(LOOPBACK, self.port, timeout=60)
        text = json.dumps({"case": case, "load": load, "tab": tab})
        connection.request("POST", f"/{self.token}/solve", text)
        answer, told = connection.getresponse(), []
        assert answer.status == 200
        while not (told and told[-1]["kind"] == until) and (line := answer.readline()):
            told.append(json.loads(line))
        connection.close()
        return told

    def stop(self):
        for stop in self.stopped:
            stop()
        self.stopped.clear()


def count_refining(served):
    """Note, as work on a refined answer and its six directions begins, how many are worked on."""
    refine, running = served.desk.refine, []

    async def counted(case, tell):
        running.append(case)
        served.refining.append(len(running))
        try:
            await refine(case, tell)
        finally:
            running.pop()

    served.desk.refine = counted


@contextmanager
def serving(case=COARSE, port=0):
    """Serve a case until the block ends."""
    bound, token = bound_socket(port), new_token()
    made = {}

    def run():
        async def serve():
            made["desk"] = Desk()
            made["server"] = Server(case, bound, token, made["desk"])
            ready.set()
            await made["server"].serve(sockets=[bound])

        asyncio.run(serve())

    ready = threading.Event()
    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(20)
    served = Served(port=bound.getsockname()[1], token=token, desk=made["desk"])

    count_refining(served)

    def stop():
        made["server"].should_exit = True
        thread.join(20)
        bound.close()
        assert not thread.is_alive()

    served.stopped.append(stop)
    try:
        yield served
    finally:
        served.stop()
