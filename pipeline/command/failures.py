"""A command in, the same command out with every failure said in one sentence and exit status 1, without a traceback."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import wraps
from typing import ParamSpec

import typer

from pipeline.command.output import say
from pipeline.store import StoreError

DEBUG_VARIABLE = "RACKET_FLEET_DEBUG"

Arguments = ParamSpec("Arguments")


def says_why(command: Callable[Arguments, None]) -> Callable[Arguments, None]:
    """Turn what a command raises into a sentence; with RACKET_FLEET_DEBUG set, faults of the program are raised."""

    @wraps(command)
    def told(*args: Arguments.args, **kwargs: Arguments.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except StoreError as error:
            say(str(error))
            raise typer.Exit(1) from None
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # the reader has had enough, as `| head` does
            raise typer.Exit(0) from None
        except (typer.Exit, typer.Abort, typer.BadParameter):
            raise
        except Exception as error:
            if os.environ.get(DEBUG_VARIABLE):
                raise
            reason = str(error).splitlines()[0] if str(error) else "no reason given"
            say(
                f"This failed ({type(error).__name__}: {reason}): it is a fault of the program, please report it "
                f"(set {DEBUG_VARIABLE}=1 to see where)."
            )
            raise typer.Exit(1) from None

    return told
