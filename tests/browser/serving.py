"""A built site served from this machine, as a plain web host does: folders by their index, 404.html for what is missing."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from playwright.sync_api import Browser, Page


class _Quiet(SimpleHTTPRequestHandler):
    protocol_version = "HTTP/1.1"  # one connection takes many requests
    disable_nagle_algorithm = True  # heads and bodies are written one after the other: neither waits for an acknowledgement

    def end_headers(self) -> None:
        """Scripts, styles and fonts are asked for once in a context, as with a host that lets them be kept."""
        if "/assets/" in self.path:
            self.send_header("Cache-Control", "max-age=600")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:
        pass

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        if code != 404:
            super().send_error(code, message, explain)
            return
        page = (Path(self.directory) / "404.html").read_bytes()
        self.send_response(404)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.send_header("Content-Length", str(len(page)))
        self.end_headers()
        self.wfile.write(page)


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: object, client_address: object) -> None:
        """A browser that leaves a page drops its connections; that is no news."""


@contextmanager
def served(folder: Path, handler: type[SimpleHTTPRequestHandler] = _Quiet) -> Iterator[str]:
    """Serve a folder on a free port of 127.0.0.1; yields the address without a slash at its end."""
    with _Server(("127.0.0.1", 0), partial(handler, directory=str(folder.resolve()))) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.server_port}"
        finally:
            server.shutdown()
            thread.join()


@contextmanager
def modules(browser: Browser, folder: Path, script: str) -> Iterator[Page]:
    """A page of the scripts' own origin, beside one of them, so that they can be loaded as modules."""
    with served(folder) as address:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/{script}")
        yield page
        context.close()
