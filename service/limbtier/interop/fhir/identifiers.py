"""The URIs that name what the service makes up. They begin with the base of the site's code map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

UCUM: Final = "http://unitsofmeasure.org"
EXTENSIONS: Final = "http://hl7.org/fhir/StructureDefinition"
OPERATION: Final = "evaluate"


@dataclass(frozen=True, slots=True)
class Identifiers:
    """URIs below one base. None of them is ever fetched."""

    base: str

    def questionnaire(self, rule_set: str) -> str:
        """The canonical URL of the questionnaire of a rule set, without a version."""
        return f"{self.base}/Questionnaire/{rule_set}"

    def choices(self, name: str) -> str:
        """The code system of the answers to an input."""
        return f"{self.base}/CodeSystem/{name}"

    @property
    def episode(self) -> str:
        """What `system` says of an episode reference."""
        return f"{self.base}/episode"

    @property
    def decision(self) -> str:
        """What `system` says of a decision's id."""
        return f"{self.base}/decision"

    @property
    def digest(self) -> str:
        """What `system` says of an edition's digest."""
        return f"{self.base}/edition-digest"

    def edition(self, edition_id: str) -> str:
        """The URI of an edition: the module that a guidance response names."""
        return f"{self.base}/edition/{edition_id}"

    def codes(self, kind: str) -> str:
        """A code system of the service's own words, such as `arrangement`, `tier` or `finding`."""
        return f"{self.base}/CodeSystem/limbtier-{kind}"

    @property
    def operation(self) -> str:
        """The canonical URL of the definition of the operation `$evaluate`."""
        return f"{self.base}/OperationDefinition/{OPERATION}"


def resource_id(edition_id: str) -> str:
    """The logical id of the questionnaire of an edition. A FHIR id has no `_`, and the name of a rule set has
    no point."""
    return edition_id.replace("_", ".")
