"""The CSV contract: a club's files, declared once in `club.datapackage.json`, and the checks made from it."""

from pipeline.contract.describing import contract_markdown
from pipeline.contract.resources import (
    Contract,
    Field,
    ForeignKey,
    OneOf,
    Resource,
    datapackage,
    load_contract,
    template_csv,
)

__all__ = [
    "Contract",
    "Field",
    "ForeignKey",
    "OneOf",
    "Resource",
    "contract_markdown",
    "datapackage",
    "load_contract",
    "template_csv",
]
