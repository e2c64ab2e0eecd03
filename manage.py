#!/usr/bin/env python3
"""Run the service's commands."""

import os
import sys

from django.core.management import execute_from_command_line

from config.env import BadSetting


def main() -> None:
    """Run one command; a bad setting ends it with its one line."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    try:
        execute_from_command_line(sys.argv)
    except BadSetting as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
