"""The words of what was changed at a system."""


def setting_text(from_value: str, to_value: str) -> str:
    """Return what was set from where to where; in quotes, for the values are free text."""
    parts = [
        f"{word} “{value}”" for word, value in (("from", from_value), ("to", to_value)) if value
    ]
    return " ".join(parts)
