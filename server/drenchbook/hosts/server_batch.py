"""A batch of calls as JSON, answered by the registry: what every adapter of a spreadsheet program sends and gets.

A call's blank is null and stays missing; a date is `{"date": "2026-05-04"}`; a range is a list of rows. An answer is a
value or an error code with a sentence. One call that fails never takes the others with it.
"""

from __future__ import annotations

import datetime
import logging
import marshal
import math
import sys
import threading
import traceback
from typing import Annotated, Any, NotRequired

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic_core import to_json
from typing_extensions import TypedDict

from drenchbook import __version__
from drenchbook.errors import InputError, SiteError
from drenchbook.function_spelling import plain_name
from drenchbook.worksheet_columns import FEWEST, column_answers
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, TABLE, WorksheetFunction

log = logging.getLogger("drenchbook.server")

VALUE, NAME, NUMBER, NOT_AVAILABLE = "#VALUE!", "#NAME?", "#NUM!", "#N/A"
MOST_CALLS = 20_000  # in one batch
MOST_CELLS = 2_000_000  # in all answers of one batch; a larger answer is an error and not a larger server
LONGEST_NAME = 60  # characters of an unknown name that are told back
REMEMBERED = 20_000  # answers of number functions kept for the next recalculation
LONGEST_REMEMBERED = 400  # bytes of a call whose answer is kept
REASON, NO_REASON = "DRENCH_REASON", "OK"  # the function that tells why, and what it gives where nothing is wrong
FORGOTTEN_AFTER = 60.0  # [s] without a call


class Call(TypedDict):
    """One function and its arguments, blanks at the end left out or not."""

    __pydantic_config__ = ConfigDict(extra="forbid")  # type: ignore[misc]
    function: str
    arguments: NotRequired[list[Any]]


class Batch(TypedDict):
    """What a host asks at once."""

    __pydantic_config__ = ConfigDict(extra="forbid")  # type: ignore[misc]
    calls: Annotated[list[Call], Field(max_length=MOST_CALLS)]


BATCH = TypeAdapter(Batch)


class UnreadableError(ValueError):
    """A body that is no batch: the sentence says where and why, and repeats no data."""


def read_batch(body: bytes) -> Batch:
    """The calls of a body; UnreadableError where it is none.

    >>> read_batch(b'{"calls": [{"function": "DRENCH_STATUS"}]}')
    {'calls': [{'function': 'DRENCH_STATUS'}]}
    """
    try:
        return BATCH.validate_json(body)
    except ValidationError as error:
        first = error.errors(include_input=False, include_url=False, include_context=False)[0]
        place = ".".join(str(part)[:LONGEST_NAME] for part in first["loc"])
        raise UnreadableError(f"{place or 'body'}: {first['msg']}"[:300]) from None


class Memory:
    """Answers given lately, so that a recalculation that changes one cell computes one cell.

    It lives in memory only, has a fixed number of places, and is emptied when nobody has asked for a while.
    """

    def __init__(self, places: int = REMEMBERED) -> None:
        self._places, self._lock = places, threading.Lock()
        self._answers: dict[bytes, dict[str, Any]] = {}

    @staticmethod
    def key(call: Call) -> bytes | None:
        """What makes two calls equal: name, values and their types (1 is not TRUE); None for a long one."""
        key = marshal.dumps((call["function"], call.get("arguments")), 2)
        return key if len(key) <= LONGEST_REMEMBERED else None

    def get(self, key: bytes) -> dict[str, Any] | None:
        """The answer, or None."""
        return self._answers.get(key)

    def keep(self, answers: dict[bytes, dict[str, Any]]) -> None:
        """Remember answers; the oldest half goes when all places are taken."""
        with self._lock:
            self._answers.update(answers)
            while len(self._answers) > self._places:
                for old in list(self._answers)[: self._places // 2]:
                    del self._answers[old]

    def forget(self) -> None:
        """Empty it."""
        with self._lock:
            self._answers = {}

    def __len__(self) -> int:
        return len(self._answers)


MEMORY = Memory()
TOO_MUCH = {"error": NOT_AVAILABLE, "message": f"the answers of one batch may have {MOST_CELLS} cells; ask for less"}


def forget() -> None:
    """Drop every answer and every site that is still in memory."""
    MEMORY.forget()
    tables = sys.modules.get("drenchbook.table_results")
    if tables is not None:
        tables.forget()


def answer_batch(body: bytes) -> bytes:
    """The answers to a body, in its order, as JSON.

    >>> answer_batch(b'{"calls": [{"function": "DRENCH_ELEVATION_LOSS", "arguments": [0]}]}').partition(b",")[2]
    b'"answers":[{"value":0.0}]}'
    """
    calls = read_batch(body)["calls"]
    keys = [MEMORY.key(call) for call in calls]
    known = [MEMORY.get(key) if key is not None else None for key in keys]
    _answer_by_columns(calls, keys, known)
    answers: list[dict[str, Any]] = []
    room = MOST_CELLS
    for call, key, ready in zip(calls, keys, known, strict=True):
        answer = TOO_MUCH if room <= 0 else ready if ready is not None else _answered(call, key)
        room -= _size(answer)
        answers.append(answer if room >= 0 else TOO_MUCH)
    return to_json({"version": __version__, "answers": answers}, inf_nan_mode="null")


def answered(call: Call) -> dict[str, Any]:
    """The answer to one call: `{"value": …}` or `{"error": …, "message": …}`."""
    key = MEMORY.key(call)
    known = MEMORY.get(key) if key is not None else None
    return _answered(call, key) if known is None else known


def _answered(call: Call, key: bytes | None) -> dict[str, Any]:
    answer = _computed(call)
    if key is not None and answer.get("error") != NOT_AVAILABLE:
        MEMORY.keep({key: answer})
    return answer


def _answer_by_columns(calls: list[Call], keys: list[bytes | None], known: list[dict[str, Any] | None]) -> None:
    """Answer calls of the same number function together; those it cannot answer stay None and are asked one by one."""
    groups: dict[tuple[str, str], list[int]] = {}
    for place, (call, ready) in enumerate(zip(calls, known, strict=True)):
        if ready is None:
            name = call["function"]
            groups.setdefault((name, _reason_about(call) if name == REASON else ""), []).append(place)
    for (name, about), places in groups.items():
        function = _named(about or name)
        if function is None or not function.by_columns or len(places) < FEWEST:
            continue
        first = 1 if about else 0
        rows: list[list[Any]] = [calls[place].get("arguments", []) for place in places]
        rows = [row[first:] for row in rows] if first else rows
        try:
            found = column_answers(function, rows)
        except Exception as error:  # a fault of ours: each call is asked by itself, and tells its own
            log.error("%s: %s in a column", function.name, type(error).__name__)
            continue
        new: dict[bytes, dict[str, Any]] = {}
        for place, value in zip(places, found, strict=True):
            if value is not None and math.isfinite(value):
                answer = known[place] = {"value": NO_REASON if about else value}
                if (key := keys[place]) is not None:
                    new[key] = answer
        MEMORY.keep(new)


def _reason_about(call: Call) -> str:
    """The function that DRENCH_REASON is asked about, or ""."""
    given = call.get("arguments")
    return given[0] if given and given[0].__class__ is str else ""


def _named(name: str) -> WorksheetFunction | None:
    return FUNCTION_BY_NAME.get(name) or FUNCTION_BY_NAME.get(plain_name(name[:LONGEST_NAME]))


def _computed(call: Call) -> dict[str, Any]:
    name = call["function"][:LONGEST_NAME]
    function = _named(name)
    if function is None:
        return _failed(NAME, f"{name} is no function of Drenchbook {__version__}; all stand on its page /functions")
    try:
        value = function(*[cell(each) for each in call.get("arguments", ())])
    except (InputError, SiteError) as error:
        return _failed(VALUE, str(error))
    except Exception as error:
        # A fault of ours must not stop the other cells, and its text may hold what the user typed: only its place is
        # logged.
        place = traceback.extract_tb(error.__traceback__)[-1]
        log.error("%s: %s in %s, line %s", function.name, type(error).__name__, place.name, place.lineno)
        return _failed(NOT_AVAILABLE, f"{function.name} failed ({type(error).__name__} in {place.name}); a fault of "
                                      "the program, please report it with the arguments")  # fmt: skip
    if function.gives == TABLE:
        return {"value": [[_plain(each) for each in row] for row in value]}
    if value.__class__ is float and not math.isfinite(value):
        return _failed(NUMBER, f"{function.name}: no number comes out of these arguments")
    return {"value": _plain(value)}


def _failed(code: str, sentence: str) -> dict[str, Any]:
    return {"error": code, "message": sentence}


def _size(answer: dict[str, Any]) -> int:
    value = answer.get("value")
    return sum(map(len, value)) if value.__class__ is list else 1


def cell(given: Any) -> Any:
    """A JSON value as the registry takes it: dates as dates, whole numbers as numbers that fit, rows cell by cell.

    >>> cell([[{"date": "2026-05-04"}, None, 10**400]])
    [[datetime.date(2026, 5, 4), None, inf]]
    """
    kind = given.__class__
    if kind is float or kind is str or kind is bool or given is None:
        return given
    if kind is int:
        try:
            return float(given)
        except OverflowError:
            return math.inf if given > 0 else -math.inf
    if kind is list:
        return [cell(each) for each in given]
    return _date(given)


def _date(given: dict[str, Any]) -> datetime.date:
    text = given.get("date") if given.keys() == {"date"} else None
    try:
        read = datetime.datetime.fromisoformat(text if isinstance(text, str) else "")
    except ValueError:
        raise InputError("argument", "an object", 'must be a number, text, true, false, null, rows of cells or '
                                                  '{"date": "2026-05-04"}') from None  # fmt: skip
    return read.date() if read.time() == datetime.time() else read


def _plain(value: Any) -> Any:
    """An answer as JSON has it."""
    if isinstance(value, (datetime.date, datetime.time)):
        return {"date": value.isoformat()}
    if value.__class__ in (float, str, bool, int) or value is None:
        return value
    return value.item() if hasattr(value, "item") else str(value)
