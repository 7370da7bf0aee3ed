"""Who stands in the document: the patient, the clinic, and whoever recorded or signed."""

from app.report.fhir.narrative import plain
from app.report.fhir.terms import IDENTIFIER_TYPE, ROLE, Json, Names, coding, concept, filled
from app.report.page import ReportInput
from app.report.reviewed import By
from app.report.signed import SignatureBlock

CLINIC, PATIENT = "clinic", "patient"
_ROLES = {"physician": ("doctor", "Doctor"), "nurse": ("nurse", "Nurse")}


class People:
    """The people of one document; whoever is referred to gets a resource."""

    def __init__(self, names: Names) -> None:
        self._names = names
        self._held: dict[tuple[str, str], None] = {}

    def reference(self, who: By | SignatureBlock) -> Json:
        """A reference to this person in this role."""
        name = who.name if isinstance(who, By) else who.printed_name
        self._held[name, who.role] = None
        return self._names.reference(_role_name(name, who.role))

    def resources(self) -> list[tuple[str, Json]]:
        """A person and a role for each, in the order in which they were first referred to."""
        found: list[tuple[str, Json]] = []
        for name, role in self._held:
            person = f"person/{name}/{role}"
            code = _ROLES.get(role)
            found.append(
                (
                    person,
                    {
                        "resourceType": "Practitioner",
                        "id": self._names.id(person),
                        "name": [{"text": plain(name) or "name not recorded"}],
                    },
                )
            )
            codings = [] if code is None else [coding(ROLE, *code)]
            found.append(
                (
                    _role_name(name, role),
                    {
                        "resourceType": "PractitionerRole",
                        "id": self._names.id(_role_name(name, role)),
                        "practitioner": self._names.reference(person),
                        "organization": self._names.reference(CLINIC),
                        "code": [concept(plain(role), *codings)],
                    },
                )
            )
        return found


def _role_name(name: str, role: str) -> str:
    return f"role/{name}/{role}"


def patient(report: ReportInput, names: Names) -> Json:
    """The person who was examined. A chart number counts within the clinic that gave it."""
    person = report.patient
    family, given = plain(person.family_name), plain(person.given_name)
    return filled(
        resourceType="Patient",
        id=names.id(PATIENT),
        identifier=[
            filled(
                use="usual",
                type=concept(
                    "Chart number", coding(IDENTIFIER_TYPE, "MR", "Medical record number")
                ),
                value=plain(person.chart_number),
                assigner=names.reference(CLINIC),
            )
        ],
        name=[filled(text=f"{family}, {given}", family=family, given=[given] if given else [])],
        gender=person.sex or "unknown",
        birthDate=person.birth_date.isoformat(),
        managingOrganization=names.reference(CLINIC),
    )


def clinic(report: ReportInput, names: Names) -> Json:
    """The clinic."""
    return {
        "resourceType": "Organization",
        "id": names.id(CLINIC),
        "name": plain(report.clinic) or "Clinic without a name",
    }
