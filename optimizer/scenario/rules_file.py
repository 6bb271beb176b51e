"""Rule sets: what the rules of a kind of event do not allow, in a file that the user edits.

TOML with `name`, `note`, and the tables `[places]` and `[items]`, a reason by name:
`"storage" = "no added storage"`. The rules of the event and its officials decide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from optimizer.kit.catalogue import PLACES, RuleSet
from optimizer.scenario.tables import suggest
from optimizer.scenario.toml_file import check, read_toml

if TYPE_CHECKING:
    from pathlib import Path

    from optimizer.kit.catalogue import Catalogue

__all__ = ["read_rules"]


class _Rules(BaseModel):
    """Tables of the file."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: str
    note: str = ""
    items: dict[str, str] = {}
    places: dict[str, str] = {}


def read_rules(path: Path | str, catalogue: Catalogue) -> RuleSet:
    """Read a rule set for a catalogue; `RuleSet.apply` marks what it forbids.

    Raises InputError, also for an item or a place that the catalogue does not hold.
    """
    file = read_toml(path)
    rules = check(_Rules, file)
    for table, names, known in (
            ("items", rules.items, [item.name for item in catalogue.items]),
            ("places", rules.places, [*PLACES, *catalogue.places])):
        for name in names:
            if name not in known:
                raise file.error(f'the catalogue has no "{name}"', suggest(name, known),
                                 table, name)
    return RuleSet(rules.name, tuple(sorted(rules.items.items())),
                   tuple(sorted(rules.places.items())), rules.note)
