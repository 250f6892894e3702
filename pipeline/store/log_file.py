"""The store's log: what was done and when, in a rotating file in its folder. No names of people, no values of rows."""

from __future__ import annotations

import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

LOG_NAME = "racket-fleet.log"
MAX_BYTES = 500_000
KEPT_FILES = 3


def store_logger(folder: Path) -> logging.Logger:
    """The logger of one store; writes nowhere if the folder cannot be written to."""
    logger = logging.getLogger(f"racket_fleet.{folder.resolve()}")
    if logger.handlers:
        return logger
    logger.setLevel(logging.INFO)
    logger.propagate = False
    handler: logging.Handler
    try:
        handler = RotatingFileHandler(
            folder / LOG_NAME, maxBytes=MAX_BYTES, backupCount=KEPT_FILES, encoding="utf-8", delay=False
        )
    except OSError:
        handler = logging.NullHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    logger.addHandler(handler)
    return logger
