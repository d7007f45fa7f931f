"""One page of a browser over the Chrome DevTools protocol: commands, JavaScript, waiting, and what the page asked for.

Protocol: https://chromedevtools.github.io/devtools-protocol/ (here Page, Runtime, Network, Log).
"""

from __future__ import annotations

import asyncio
import itertools
from contextlib import suppress
from typing import Any

import aiohttp

ANSWER_S = 20.0
BETWEEN_PAGES = ("navigated or closed", "context was destroyed", "Cannot find context")
"""What the browser says of an expression that was being evaluated when its page went."""


class Session:
    """Commands and answers, events noted. Every request of the page is in `requests`, its faults in `errors`."""

    def __init__(self, ws: aiohttp.ClientWebSocketResponse) -> None:
        self._ws = ws
        self._ids = itertools.count(1)
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self.requests: list[str] = []
        self.responses: list[dict[str, Any]] = []
        self.errors: list[str] = []
        self.octets: dict[str, int] = {}  # by URL: what came over the wire for it, headers too
        self._urls: dict[str, str] = {}
        self._reader = asyncio.create_task(self._read())

    async def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command of the protocol; raises RuntimeError with the browser's words when it fails."""
        number = next(self._ids)
        self._waiting[number] = asyncio.get_running_loop().create_future()
        await self._ws.send_json({"id": number, "method": method, "params": params})
        try:
            answer = await asyncio.wait_for(self._waiting[number], ANSWER_S)
        finally:
            del self._waiting[number]
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error'].get('message')}")
        return dict(answer["result"])

    async def evaluate(self, expression: str) -> Any:
        """The value of a JavaScript expression; promises are awaited, exceptions raised."""
        result = await self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        return _value(result)

    async def apply(self, element: str, function: str, *args: Any) -> Any:
        """The value of `function`, JavaScript, called with `this` as the element (an object of the protocol)."""
        given = [{"value": value} for value in args]
        result = await self.call(
            "Runtime.callFunctionOn",
            functionDeclaration=function,
            objectId=element,
            arguments=given,
            returnByValue=True,
            awaitPromise=True,
        )
        return _value(result)

    async def until(self, expression: str, within_s: float = 10.0) -> Any:
        """Wait until the expression is true; AssertionError with the expression and what is shown otherwise."""
        deadline = asyncio.get_running_loop().time() + within_s
        while not (value := await self._evaluate_between_pages(expression)):
            if asyncio.get_running_loop().time() > deadline:
                raise AssertionError(f"not true within {within_s} s: {expression}; errors {self.errors}")
            await asyncio.sleep(0.05)
        return value

    async def _evaluate_between_pages(self, expression: str) -> Any:
        """As `evaluate`; None while one page gives way to the next, when the browser drops what is being evaluated."""
        try:
            return await self.evaluate(expression)
        except RuntimeError as error:
            if not any(words in str(error) for words in BETWEEN_PAGES):
                raise
            return None

    async def before_scripts(self, script: str) -> None:
        """JavaScript that every document from now on runs before any of its own."""
        await self.call("Page.addScriptToEvaluateOnNewDocument", source=script)

    async def close(self) -> None:
        """Speak no more; the page itself ends with its browser."""
        self._reader.cancel()
        with suppress(asyncio.CancelledError):
            await self._reader
        await self._ws.close()

    async def _read(self) -> None:
        async for message in self._ws:
            event = message.json()
            if "id" in event:
                if (waiting := self._waiting.get(event["id"])) is not None and not waiting.done():
                    waiting.set_result(event)
            else:
                self._note(event["method"], event["params"])

    def _note(self, method: str, params: dict[str, Any]) -> None:
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
            self._urls[params["requestId"]] = params["request"]["url"]
        elif method == "Network.webSocketCreated":
            self.requests.append(params["url"])
        elif method == "Network.responseReceived":
            self.responses.append(params["response"])
        elif method == "Network.loadingFinished":
            url = self._urls.get(params["requestId"], "?")
            self.octets[url] = self.octets.get(url, 0) + int(params["encodedDataLength"])
        elif method == "Runtime.exceptionThrown":
            details = params["exceptionDetails"]
            self.errors.append(str(details.get("exception", {}).get("description", details["text"])))
        elif method == "Log.entryAdded" and params["entry"]["level"] == "error":
            self.errors.append(f"{params['entry']['text']} {params['entry'].get('url', '')}")


def _value(result: dict[str, Any]) -> Any:
    if "exceptionDetails" in result:
        details = result["exceptionDetails"]
        raise RuntimeError(str(details.get("exception", {}).get("description", details["text"])))
    return result["result"].get("value")
