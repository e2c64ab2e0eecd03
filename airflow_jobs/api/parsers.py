"""Request bodies: JSON as RFC 8259 has it and nothing else, with the place of what is wrong."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import IO, Any, Final, NoReturn

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError, UnsupportedMediaType
from rest_framework.parsers import BaseParser

DEEPEST: Final = 32
LONGEST_NUMBER: Final = 100


class Malformed(ParseError):
    """The body is no acceptable JSON; the text says where and why."""

    default_code = "malformed"


class BrokenOff(Malformed):
    """The body is shorter than was announced: the connection's doing, so it may be sent again."""

    default_code = "broken_off"


class TooLarge(APIException):
    """The body is over the limit."""

    status_code = 413
    default_code = "too_large"


class LengthRequired(APIException):
    """The body comes in chunks, whose length the interface to the web server can't tell."""

    status_code = 411
    default_code = "length_required"
    default_detail = "The body came in chunks; send its length in Content-Length."


def refuse_chunks(request: Any) -> None:
    """Refuse a body without a length, which would be taken for an empty one."""
    if request.META.get("HTTP_TRANSFER_ENCODING") and not request.META.get("CONTENT_LENGTH"):
        raise LengthRequired


class StrictJSONParser(BaseParser):
    """UTF-8 JSON without duplicate keys, NaN, numbers beyond floats, NUL or half characters."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the parsed body."""
        request = (parser_context or {}).get("request")
        _refuse_other_encodings(request)
        text = _text(_bytes(stream, request))
        if not text.strip():
            raise Malformed("The body is empty; a JSON document is due.")
        try:
            document = json.loads(
                text,
                object_pairs_hook=_object,
                parse_constant=_no_constant,
                parse_int=_integer,
                parse_float=_float,
            )
        except json.JSONDecodeError as error:
            raise Malformed(
                f"The body is not valid JSON: {error.msg} at line {error.lineno}, "
                f"column {error.colno}."
            ) from error
        except RecursionError as error:
            raise Malformed(_too_deep()) from error
        _refuse_odd_content(document)
        return document


def _refuse_other_encodings(request: Any) -> None:
    if request is None:
        return
    if request.META.get("HTTP_CONTENT_ENCODING", "identity").lower() not in {"", "identity"}:
        raise UnsupportedMediaType(
            request.content_type, detail="Compressed bodies are not read; send plain JSON."
        )
    charset = request.META.get("CONTENT_TYPE", "").lower().partition("charset=")[2]
    if charset.strip("\"' ;") not in {"", "utf-8", "utf8", "us-ascii"}:
        raise UnsupportedMediaType(
            request.content_type, detail=f"JSON is UTF-8 here, not {charset[:40]!r}."
        )


def _bytes(stream: IO[Any], request: Any) -> bytes:
    limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    assert limit is not None
    length = str(request.META.get("CONTENT_LENGTH", "")) if request is not None else ""
    if length.isdigit() and int(length) > limit:
        raise TooLarge(_too_large(limit))
    try:
        body: bytes = stream.read(limit + 1)
    except OSError as error:
        raise BrokenOff("The body broke off before its end; send it again.") from error
    if len(body) > limit:
        raise TooLarge(_too_large(limit))
    if length.isdigit() and len(body) < int(length):
        raise BrokenOff(f"The body broke off after {len(body)} of {length} bytes; send it again.")
    return body


def _too_large(limit: int) -> str:
    return (
        f"The body is over {limit // 1024**2} MB; send it in parts "
        "(a batch holds up to 1,000 traverses, and each item is safe to send again)."
    )


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Malformed(
            f"The body is not UTF-8: the byte at position {error.start} can't be read."
        ) from error


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise Malformed(f"The key {key[:60]!r} stands twice in one object.")
            seen.add(key)
    return result


def _no_constant(name: str) -> NoReturn:
    raise Malformed(f"{name} is no JSON number; leave the value out where there is none.")


def _integer(digits: str) -> int | float:
    if len(digits) > LONGEST_NUMBER:
        raise Malformed(f"A number of {len(digits)} digits is longer than any that is possible.")
    return int(digits)


def _float(digits: str) -> float:
    if len(digits) > LONGEST_NUMBER:
        raise Malformed(f"A number of {len(digits)} digits is longer than any that is possible.")
    value = float(digits)
    if not math.isfinite(value):
        raise Malformed(f"The number {digits} is larger than any that is possible.")
    return value


def _refuse_odd_content(document: Any) -> None:
    """Refuse what PostgreSQL can't keep (NUL, half a surrogate pair) and absurd nesting."""
    level = [document]
    depth = 0
    while level:
        if depth > DEEPEST:
            raise Malformed(_too_deep())
        deeper: list[Any] = []
        for item in level:
            if isinstance(item, str):
                _refuse_odd_text(item)
            elif isinstance(item, list):
                deeper += item
            elif isinstance(item, dict):
                for key in item:
                    _refuse_odd_text(key)
                deeper += item.values()
        level = deeper
        depth += 1


def _refuse_odd_text(text: str) -> None:
    if text.isascii() and "\x00" not in text:
        return
    if "\x00" in text:
        raise Malformed("Text holds the character NUL (\\u0000), which can't be kept.")
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise Malformed("Text holds half of a character pair (a lone surrogate).") from error


def _too_deep() -> str:
    return f"The body is nested over {DEEPEST} levels deep; nothing here is."
