"""Accounts of the operating system: whose folder it is, and what another account can reach."""

import os
import pwd
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Final

# Nothing of the caller's: PGHOST or PGOPTIONS there would lead a program astray.
CLEAN_ENVIRONMENT: Final = {"PATH": os.defpath, "LC_ALL": "C", "TZ": "UTC"}


@dataclass(frozen=True, kw_only=True)
class Account:
    """An account of the operating system."""

    name: str
    user_id: int
    group_id: int
    home: str

    @classmethod
    def named(cls, name: str) -> "Account | None":
        """Find an account by its name."""
        try:
            return cls._of(pwd.getpwnam(name))
        except KeyError:
            return None

    @classmethod
    def numbered(cls, user_id: int) -> "Account | None":
        """Find an account by its number."""
        try:
            return cls._of(pwd.getpwuid(user_id))
        except KeyError:
            return None

    @classmethod
    def _of(cls, entry: pwd.struct_passwd) -> "Account":
        return cls(
            name=entry.pw_name,
            user_id=entry.pw_uid,
            group_id=entry.pw_gid,
            home=entry.pw_dir,
        )

    def can_enter(self, directory: Path) -> bool:
        """Whether the account can pass through to a folder; only root may ask."""
        return self._succeeds(["/bin/sh", "-c", 'cd "$1"', "sh", str(directory)])

    def can_run(self, program: Path | str) -> bool:
        """Whether the account can run a program, tried with ``--version``; only root may ask."""
        return self._succeeds([str(program), "--version"])

    def become(self) -> None:
        """Give up root's rights for this process, for good."""
        os.initgroups(self.name, self.group_id)
        os.setgid(self.group_id)
        os.setuid(self.user_id)
        os.environ.update(HOME=self.home, USER=self.name, LOGNAME=self.name)

    def _succeeds(self, command: list[str]) -> bool:
        try:
            done = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                cwd="/",
                env=CLEAN_ENVIRONMENT,
                user=self.user_id,
                group=self.group_id,
                extra_groups=[],
                check=False,
            )
        except PermissionError:
            return False
        return done.returncode == 0


def account_that_owns(path: Path) -> Account | None:
    """Find the ordinary account that a path belongs to, or would once it is made.

    Parameters
    ----------
    path
        A file or folder; the nearest folder above counts where it does not exist yet.

    Returns
    -------
    Account or None
        None where root owns it or the owner has no name.
    """
    while not path.exists():
        path = path.parent
    owner = path.stat().st_uid
    return Account.numbered(owner) if owner else None


def account_name(user_id: int) -> str:
    """Name an account for a message, by its number where it has no name."""
    account = Account.numbered(user_id)
    return account.name if account else f"account {user_id}"
