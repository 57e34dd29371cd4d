"""Folders that appear whole or not at all, and in whose place nothing else is lost."""

from __future__ import annotations

import glob
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from loganalyze.problems import Problem


@dataclass(frozen=True)
class FolderKind:
    """What a folder holds.

    ``what`` : as it stands in a sentence, "results"; ``earlier`` : such a folder of before,
    "earlier results"; ``marker`` : the file by which one is known.
    """

    what: str
    earlier: str
    marker: str

    def check(self, folder: Path, overwrite: bool) -> None:
        """Refuse a place that such a folder must not go to.

        Parameters
        ----------
        folder : Path
            Where the folder would go.
        overwrite : bool
            Whether an earlier one there may be replaced.

        Raises
        ------
        Problem
            When it exists and `overwrite` is false; when it exists and isn't of this kind, so that
            replacing it would lose something else.
        """
        if not folder.exists() and not folder.is_symlink():
            return
        if folder.is_symlink() or not folder.is_dir():
            raise Problem(f"this is where the {self.what} would go, but it is not a folder",
                          str(folder), "move it away or give another --out")
        if not overwrite:
            raise Problem("the folder exists already", str(folder),
                          "give another --out, or --overwrite to replace it whole")
        if any(folder.iterdir()) and not (folder / self.marker).is_file():
            raise Problem(f"the folder holds no {self.marker}, so it isn't one of {self.earlier}",
                          str(folder), "move it away or give another --out")

    @contextmanager
    def written(self, folder: Path, overwrite: bool) -> Iterator[FolderInMaking]:
        """Give a temporary folder beside `folder`; where it is complete, it goes in its place.

        Parameters
        ----------
        folder : Path
            The folder to make.
        overwrite : bool
            Replace an earlier one of this kind whole.

        Yields
        ------
        FolderInMaking
            Where to write; the one who writes sets `complete`. Without that, or when an error
            leaves the block, nothing is left behind, and an earlier folder stays as it was.

        Raises
        ------
        Problem
            As `check` does; no permission, or no space.
        """
        _clean(folder)
        self.check(folder, overwrite)
        # Hidden, of this process: another run on the same log can't meet it.
        partial = folder.with_name(f".{folder.name}.partial-{os.getpid()}")
        former = folder.with_name(f".{folder.name}.former-{os.getpid()}")
        making = FolderInMaking(partial)
        try:
            shutil.rmtree(partial, ignore_errors=True)
            partial.mkdir(parents=True)
            yield making
            if not making.complete:
                return
            self.check(folder, overwrite)
            replaced = folder.exists()
            if replaced:
                folder.rename(former)
            try:
                partial.rename(folder)
            except BaseException:
                if replaced:
                    former.rename(folder)
                raise
            shutil.rmtree(former, ignore_errors=True)
        except OSError as error:
            raise Problem(f"the {self.what} can't be written ({error.strerror or error})",
                          str(folder), "give another --out") from error
        finally:
            shutil.rmtree(partial, ignore_errors=True)


@dataclass
class FolderInMaking:
    """A folder that is being made: where its files are, and whether they are all there."""

    path: Path
    complete: bool = False


def _clean(folder: Path) -> None:
    """Remove leftovers of killed runs beside this folder; restore a folder moved away."""
    for kind in ("partial", "former"):
        for left in folder.parent.glob(f".{glob.escape(folder.name)}.{kind}-*"):
            number = left.name.rpartition("-")[2]
            if not number.isdigit() or _runs(int(number)):
                continue
            if kind == "former" and not folder.exists():
                left.rename(folder)
            else:
                shutil.rmtree(left, ignore_errors=True)


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
