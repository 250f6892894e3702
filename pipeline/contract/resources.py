"""The declaration (a Frictionless Data Package with Table Schemas) in, typed resources and fields out.

Every other statement of the contract (checks, tables, templates, descriptors) is made from what is read here.
Source of the format: Frictionless Data Package and Table Schema specifications, version 1; properties of our own
begin with `x-`, as those specifications allow.
"""

from __future__ import annotations

import copy
import csv
import io
import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

DECLARATION = "club.datapackage.json"


@dataclass(frozen=True)
class Field:
    """One column. `kind` is id, label, text, choice, list, score, number, integer, money, boolean or date."""

    name: str
    kind: str
    description: str
    example: str
    is_required: bool
    choices: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    pattern: str | None = None
    unit: str | None = None
    dates: str | None = None  # of a date: recorded (it has happened) or planned (it may lie ahead)
    is_time_in_key: bool = False  # of a date in a key: two times of one day are two rows

    @property
    def instant_name(self) -> str:
        """The clean table's companion column, which holds the time of day where the file gave one."""
        return f"{self.name}_at"


@dataclass(frozen=True)
class ForeignKey:
    """A column whose values must stand in another file."""

    field: str
    resource: str
    target: str


@dataclass(frozen=True)
class OneOf:
    """Columns of which at least one must be filled; `otherwise` is refuse or question."""

    fields: tuple[str, ...]
    otherwise: str


@dataclass(frozen=True)
class Resource:
    """One CSV file of the contract."""

    name: str
    file_name: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    is_optional: bool
    description: str
    foreign_keys: tuple[ForeignKey, ...] = ()
    one_of: tuple[OneOf, ...] = ()

    def field(self, name: str) -> Field:
        """The field of that name."""
        return next(field for field in self.fields if field.name == name)

    @property
    def required_columns(self) -> tuple[str, ...]:
        """Columns without which the file cannot be read."""
        return tuple(field.name for field in self.fields if field.is_required)

    @property
    def value_columns(self) -> tuple[str, ...]:
        """The clean table's columns that hold what the file said, in order, companions included."""
        names: list[str] = []
        for field in self.fields:
            names.append(field.name)
            if field.kind == "date":
                names.append(field.instant_name)
        return tuple(names)

    @property
    def key_columns(self) -> tuple[str, ...]:
        """The clean table's columns that identify a row."""
        names = list(self.key)
        names += [self.field(name).instant_name for name in self.key if self.field(name).is_time_in_key]
        return tuple(names)


@dataclass(frozen=True)
class Contract:
    """All files of the contract; `resources` stands in an order in which every file comes after those it refers to."""

    version: str
    resources: dict[str, Resource]

    def resource_of_file(self, file_name: str) -> Resource | None:
        """The resource a file's name stands for, upper or lower case alike; None for any other name."""
        return next((r for r in self.resources.values() if r.file_name == file_name.strip().lower()), None)


def _descriptor() -> dict[str, Any]:
    text = files("pipeline.contract").joinpath(DECLARATION).read_text(encoding="utf-8")
    descriptor: dict[str, Any] = json.loads(text)
    return descriptor


def _field(described: dict[str, Any]) -> Field:
    limits = described.get("constraints", {})
    return Field(
        name=described["name"],
        kind=described["x-kind"],
        description=described["description"],
        example=described["example"],
        is_required=limits.get("required", False),
        choices=tuple(limits.get("enum", ())),
        minimum=limits.get("minimum"),
        maximum=limits.get("maximum"),
        pattern=limits.get("pattern"),
        unit=described.get("x-unit"),
        dates=described.get("x-dates"),
        is_time_in_key=described.get("x-key-time", False),
    )


def _resource(described: dict[str, Any]) -> Resource:
    schema = described["schema"]
    return Resource(
        name=described["name"],
        file_name=described["path"],
        fields=tuple(_field(field) for field in schema["fields"]),
        key=tuple(schema["primaryKey"]),
        is_optional=described.get("x-optional", False),
        description=described["description"],
        foreign_keys=tuple(
            ForeignKey(key["fields"][0], key["reference"]["resource"], key["reference"]["fields"][0])
            for key in schema.get("foreignKeys", ())
        ),
        one_of=tuple(OneOf(tuple(group["fields"]), group["otherwise"]) for group in schema.get("x-one-of", ())),
    )


def _referred_first(resources: dict[str, Resource]) -> dict[str, Resource]:
    """The same resources, each after every resource that its foreign keys name."""
    ordered: dict[str, Resource] = {}
    while len(ordered) < len(resources):
        ready = [
            resource
            for resource in resources.values()
            if resource.name not in ordered and all(key.resource in ordered for key in resource.foreign_keys)
        ]
        if not ready:
            raise ValueError(f"{DECLARATION}: foreign keys run in a circle among {set(resources) - set(ordered)}")
        ordered |= {resource.name: resource for resource in ready}
    return ordered


@lru_cache(maxsize=1)
def load_contract() -> Contract:
    """The contract as declared."""
    descriptor = _descriptor()
    resources = [_resource(described) for described in descriptor["resources"]]
    return Contract(descriptor["version"], _referred_first({resource.name: resource for resource in resources}))


def template_csv(resource: Resource, with_example: bool = False) -> str:
    """An empty file of the contract: its header line, and one example row if asked for (RFC 4180, CRLF)."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([field.name for field in resource.fields])
    if with_example:
        writer.writerow([field.example for field in resource.fields])
    return text.getvalue()


def datapackage(
    name: str = "club",
    title: str | None = None,
    description: str | None = None,
    only: Iterable[str] | None = None,
) -> dict[str, Any]:
    """A Data Package descriptor to lie beside CSV files that keep the contract; `only` names the resources present.

    A foreign key to a resource that is not present is left out, since it could not be followed.
    """
    descriptor = copy.deepcopy(_descriptor())
    descriptor["name"] = name
    if title is not None:
        descriptor["title"] = title
    if description is not None:
        descriptor["description"] = description
    if only is not None:
        present = set(only)
        unknown = present - {resource["name"] for resource in descriptor["resources"]}
        if unknown:
            raise ValueError(f"not in the contract: {', '.join(sorted(unknown))}")
        descriptor["resources"] = [r for r in descriptor["resources"] if r["name"] in present]
        for resource in descriptor["resources"]:
            keys = resource["schema"].get("foreignKeys", [])
            resource["schema"]["foreignKeys"] = [k for k in keys if k["reference"]["resource"] in present]
    return descriptor
