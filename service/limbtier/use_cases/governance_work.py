"""Has long work on editions done beside the service, a piece at a time, and keeps what comes of it.

The event loop only asks; the work is another process, because the prover and the counting would hold up every
decision in this one. What was worked out once is answered from the database by every worker.
"""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import IO, Any, Final, cast

import orjson

import limbtier
from limbtier.domain.governance_result import GovernanceResult
from limbtier.foundation.clock import Clock, now
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import LimbtierError, StoreUnavailable
from limbtier.store.results import ResultTable
from limbtier.use_cases.decide import ReadyRules
from limbtier.use_cases.governance_tasks import EditionsAtHand, GovernanceTask, key_of

MOST_WAITING: Final = 8
"""So many pieces of work may wait in one worker of the service, the one that is worked on among them."""
LOST_AFTER: Final = timedelta(minutes=2)
"""Work that gave no sign for so long is begun again by whoever asks."""
SECONDS_BETWEEN_SIGNS: Final = 15.0
LONGEST_SECONDS: Final = 3600.0
PROCESS: Final = "limbtier.use_cases.governance_process"
_PACKAGES: Final = str(Path(limbtier.__file__).parents[1])
alarm = logging.getLogger("limbtier.alarm")


class TooMuchWork(LimbtierError):
    """Too much long work waits already."""

    code = "too-much-work"


class GovernanceWork:
    """The long work of one worker of the service. Every method but `close` raises StoreUnavailable."""

    def __init__(self, results: ResultTable, clock: Clock = now) -> None:
        self._results = results
        self._clock = clock
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="limbtier-governance")
        self._lock = threading.Lock()
        self._waiting: set[str] = set()
        self._process: subprocess.Popen[bytes] | None = None
        self._closed = False

    def ask(self, task: GovernanceTask, rules: ReadyRules) -> GovernanceResult:
        """What came of a task, or how far it is; it is begun unless somebody has. Raises TooMuchWork."""
        key = key_of(task, rules)
        found = self._results.find(key)
        if found is not None and found.outcome is not None:
            return found
        with self._lock:
            mine = key in self._waiting
            if not mine and len(self._waiting) >= MOST_WAITING:
                advice = "Ask again in a minute."
                raise TooMuchWork([Diagnostic("too-much-work", "Too much long work waits already.", advice)])
            if not mine:
                at = self._clock()
                if self._results.begin(key, task.kind, task.organisation, at, at - LOST_AFTER):
                    self._waiting.add(key)
                    self._pool.submit(self._work, key, task, rules)
        return self._results.find(key) or self._running(key, task)

    def find(self, key: str) -> GovernanceResult | None:
        """What came of the work with a key, or how far it is; None for work that nobody asked for."""
        return self._results.find(key)

    def close(self) -> None:
        """End whatever is going on."""
        with self._lock:
            self._closed = True
            if self._process is not None:
                self._process.kill()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _running(self, key: str, task: GovernanceTask) -> GovernanceResult:
        return GovernanceResult(key, task.kind, task.organisation, "running", 0, None, None, self._clock())

    def _work(self, key: str, task: GovernanceTask, rules: ReadyRules) -> None:
        result = self._running(key, task)
        try:
            result = self._result(result, pickle.dumps((task, EditionsAtHand.of(rules))))
        except Exception:  # noqa: BLE001 - whoever asks must learn that it failed
            alarm.exception("long work on editions failed: %s", task.kind)
            result = replace(result, state="failed", seen_at=self._clock())
        try:
            if not self._closed:
                self._results.end(result)
        except StoreUnavailable as error:
            alarm.critical("%s: %s", error.code, error)
        finally:
            with self._lock:
                self._waiting.discard(key)

    def _result(self, result: GovernanceResult, sent: bytes) -> GovernanceResult:
        """Run a process to its end; what it tells is kept on the way."""
        with self._lock:
            if self._closed:
                return replace(result, state="failed")
            process = self._process = subprocess.Popen(  # noqa: S603 - our own module
                [sys.executable, "-m", PROCESS],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": os.pathsep.join((_PACKAGES, *_given_path()))},
            )
        limit = threading.Timer(LONGEST_SECONDS, process.kill)
        limit.start()
        signs = threading.Event()
        sign = threading.Thread(target=self._give_signs, args=(result.key, signs), daemon=True)
        try:
            given, told = cast(IO[bytes], process.stdin), cast(IO[bytes], process.stdout)
            given.write(sent)
            given.flush()
            sign.start()
            last: dict[str, Any] = {}
            for line in told:
                last = orjson.loads(line)
                if "counted" in last:
                    result = replace(result, counted=last["counted"], total=last["total"])
                    self._results.tell(result.key, result.counted, result.total, self._clock())
            return _ended(replace(result, seen_at=self._clock()), last)
        finally:
            limit.cancel()
            signs.set()
            process.kill()
            process.communicate()
            with self._lock:
                self._process = None

    def _give_signs(self, key: str, stop: threading.Event) -> None:
        while not stop.wait(SECONDS_BETWEEN_SIGNS):
            try:
                found = self._results.find(key)
                if found is not None:
                    self._results.tell(key, found.counted, found.total, self._clock())
            except StoreUnavailable as error:
                alarm.critical("%s: %s", error.code, error)


def _given_path() -> Sequence[str]:
    given = os.environ.get("PYTHONPATH")
    return [given] if given else []


def refusal_of(result: GovernanceResult) -> tuple[str, Sequence[Diagnostic]]:
    """Why work was refused: the code of the error, and what it found."""
    record = orjson.loads(result.outcome or b"{}")
    found = [Diagnostic(one["code"], one["message"], one["help"]) for one in record["found"]]
    return record["refused"], found


def _ended(result: GovernanceResult, last: dict[str, Any]) -> GovernanceResult:
    if "outcome" in last:
        return replace(result, state="done", outcome=orjson.dumps(last["outcome"]))
    if "refused" in last:
        return replace(result, state="refused", outcome=orjson.dumps(last))
    raise RuntimeError("the process ended without a word")
