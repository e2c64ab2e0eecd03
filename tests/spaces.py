"""Spaces that never break a line, for tests that care for what is said and not for its lines."""


def loose(text: str) -> str:
    """Return a text with plain spaces."""
    return text.replace("\N{NO-BREAK SPACE}", " ")
