"""What can go wrong in the store, each with one sentence for the person at the keyboard."""

from __future__ import annotations


class StoreError(Exception):
    """The store cannot do what was asked; the text says what happened, where, and what to do next."""


class StoreBusyError(StoreError):
    """Another process is writing."""


class SettingsError(StoreError):
    """club.toml cannot be read as settings."""


class FileRefusedError(StoreError):
    """A file cannot be read as a file of the contract; nothing of it was loaded."""
