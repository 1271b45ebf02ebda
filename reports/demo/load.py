"""Founds the invented laboratory, and enters what it has before the week begins: people, materials, methods, limits."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from labresults.actions.calendar import mark_calendar_day
from labresults.actions.delivery import remember_request
from labresults.actions.derived import define_derived
from labresults.actions.holding import register_holding_time
from labresults.actions.limits import LimitRow, register_limits
from labresults.actions.materials import (
    record_equipment_check,
    register_equipment,
    register_lot,
    register_material,
)
from labresults.actions.methods import add_method_version, save_layout
from labresults.actions.people import authorise_person, enrol_person, found_laboratory
from labresults.actions.plausibility import register_plausibility
from labresults.actions.samples import register_client, register_matrices
from labresults.actions.scope import ScopeRow, register_scope
from labresults.calculation.tray import Tray
from labresults.management.definitions import read_definition
from labresults.models import Client, Element, Layout, LimitSet, Lot, Material, Matrix, Method, Person
from labresults.readers.layout import Layout as LayoutSpecification
from labresults.readers.weighing_layout import WeighingLayout
from labresults.terms import Basis, DayPart, EquipmentKind, MaterialKind, PlausibilityKind, Task
from reports.demo.data import FIXTURES, criteria_of, method_names, plausibility_rules, read
from reports.demo.reporting import agree_on_files, save_rules
from reports.models import RuleSetVersion


@dataclass(frozen=True)
class Founded:
    """The laboratory before its first sample: people by sign-in, layouts and limits by name."""

    people: Mapping[str, Person]
    clients: Mapping[str, Client]
    layouts: Mapping[str, Layout]
    limits: Mapping[str, LimitSet]
    rules: RuleSetVersion
    password: str


def found() -> Founded:
    """Enter everything that fixtures/demo says of the laboratory. Raises WrongState where one is founded already."""
    laboratory = read("laboratory")
    at: datetime = laboratory["laboratory"]["founded_at"]
    founder = _found(at)
    clients = _clients(founder, at)
    people = {founder.username: founder} | _people(founder, at, clients)
    quality = people["quill"]
    _calendar(founder, at)
    _equipment(quality, at)
    _matrices(quality, at)
    _materials(quality, at)
    _methods(quality, at)
    _holding_times(quality, at)
    _plausibility(quality, at)
    _derived(quality, at)
    limits = _limits(quality, at)
    _scope(quality, at)
    agree_on_files(quality, at, clients)
    _usual_requests(people["marlow"], at, clients, limits)
    return Founded(
        people=people,
        clients=clients,
        layouts=_layouts(quality, at),
        limits=limits,
        rules=save_rules(quality, at),
        password=laboratory["sign_in"]["password"],
    )


def _found(at: datetime) -> Person:
    laboratory = {k: v for k, v in read("laboratory")["laboratory"].items() if k != "founded_at"}
    founder = read("laboratory")["founder"]
    password = read("laboratory")["sign_in"]["password"]
    return found_laboratory(at=at, reason="demonstration", invented=True, password=password, **laboratory, **founder)


def _clients(by: Person, at: datetime) -> dict[str, Client]:
    return {raw["code"]: register_client(by=by, at=at, **raw) for raw in read("laboratory")["clients"]}


def _people(by: Person, at: datetime, clients: Mapping[str, Client]) -> dict[str, Person]:
    password = read("laboratory")["sign_in"]["password"]
    people = {}
    for raw in read("laboratory")["people"]:
        person = enrol_person(
            by=by,
            at=at,
            sign_in=raw["sign_in"],
            full_name=raw["full_name"],
            password=password,
            roles=raw["roles"],
            client=clients[raw["client"]] if "client" in raw else None,
        )
        for task in raw["tasks"]:
            authorise_person(by=by, at=at, person=person, task=Task(task), valid_from=at.date())
        people[person.username] = person
    return people


def _calendar(by: Person, at: datetime) -> None:
    for raw in read("laboratory")["calendar"]:
        mark_calendar_day(by=by, at=at, day=raw["day"], part=DayPart(raw["part"]), name=raw["name"])


def _equipment(by: Person, at: datetime) -> None:
    for raw in read("laboratory")["equipment"]:
        item = register_equipment(
            by=by,
            at=at,
            code=raw["code"],
            name=raw["name"],
            kind=EquipmentKind(raw["kind"]),
            tray=Tray(**raw["tray"]) if "tray" in raw else None,
        )
        for check in raw["checks"]:
            record_equipment_check(by=by, at=at, equipment=item, **check)


def _matrices(by: Person, at: datetime) -> None:
    for area, names in read("laboratory")["matrices"].items():
        register_matrices(by=by, at=at, area=area, names=names)


def _limits(by: Person, at: datetime) -> dict[str, LimitSet]:
    return {
        raw["name"]: register_limits(
            by=by,
            at=at,
            name=raw["name"],
            edition=raw["edition"],
            source=raw["source"],
            limits=[
                *(LimitRow(element, value, raw["unit"]) for element, value in raw["values"].items()),
                *(LimitRow("", of["value"], of["unit"], derived=of["code"]) for of in raw.get("derived", ())),
            ],
        )
        for raw in read("laboratory")["limits"]
    }


def _materials(by: Person, at: datetime) -> None:
    said = read("materials")
    materials: dict[str, Material] = {
        raw["code"]: register_material(by=by, at=at, code=raw["code"], name=raw["name"], kind=MaterialKind(raw["kind"]))
        for raw in said["materials"]
    }
    lots: dict[str, Lot] = {}
    for raw in said["lots"]:
        lots[raw["number"]] = register_lot(
            by=by,
            at=at,
            number=raw["number"],
            material=materials[raw["material"]],
            received_on=raw["received_on"],
            expires_on=raw["expires_on"],
            made_from=lots[raw["made_from"]] if "made_from" in raw else None,
            certificate=raw.get("certificate", ""),
            contents=[content for block in raw.get("contents", ()) for content in _contents(block)],
        )


def _contents(block: Mapping[str, Any]) -> list[dict[str, Any]]:
    """One block of a lot: the same unit, dissolution and relative uncertainty for several elements."""
    share = block.get("u_percent")
    return [
        {
            "element": element,
            "dissolution": block.get("dissolution", ""),
            "value": value,
            "unit": block["unit"],
            "u": None if share is None else value * share / 100,
        }
        for element, value in block["values"].items()
    ]


def _methods(by: Person, at: datetime) -> None:
    for name in method_names():
        raw = read(f"methods/{name}")
        valid_from: date = raw["valid_from"]
        add_method_version(
            by=by,
            at=at,
            reason="entered as validated; invented for the demonstration",
            code=raw["code"],
            title=raw["title"],
            area=raw["area"],
            valid_from=valid_from,
            version=dict(raw["version"]),
            matrices=raw["matrices"],
            lines=[raw["line_defaults"] | line for line in raw["lines"]],
            determinations=raw["determinations"],
            criteria=criteria_of(raw["criteria"]),
            standards=raw["standards"],
            controls=raw["controls"],
            ore_grade_of=raw.get("ore_grade_of"),
        )


def _holding_times(by: Person, at: datetime) -> None:
    for raw in read("laboratory")["holding_times"]:
        element = Element.objects.get(symbol=raw["element"]) if "element" in raw else None
        for matrix in Matrix.objects.filter(name__in=raw["matrices"]).order_by("name"):
            register_holding_time(
                by=by, at=at, matrix=matrix, element=element, hours=raw["days"] * 24, source=raw["source"]
            )


def _plausibility(by: Person, at: datetime) -> None:
    for raw in plausibility_rules():
        given = {name: value for name, value in raw.items() if name not in {"kind", "matrix"}}
        matrix = Matrix.objects.get(name=raw["matrix"]) if "matrix" in raw else None
        register_plausibility(by=by, at=at, kind=PlausibilityKind(raw["kind"]), matrix=matrix, **given)


def _derived(by: Person, at: datetime) -> None:
    """The derived results that the program ships with."""
    for path in sorted((FIXTURES / "derived").glob("*.toml")):
        define_derived(by=by, at=at, reason="as shipped", **read_definition(path))


def _scope(by: Person, at: datetime) -> None:
    for raw in read("laboratory")["scope"]:
        register_scope(
            by=by,
            at=at,
            reason="invented for the demonstration",
            method=Method.objects.get(code=raw["method"]),
            rows=[
                ScopeRow(element, raw["matrix"], low, high, raw["unit"])
                for element, (low, high) in raw["ranges"].items()
            ],
            valid_from=at.date(),
        )


def _usual_requests(by: Person, at: datetime, clients: Mapping[str, Client], limits: Mapping[str, LimitSet]) -> None:
    for raw in read("laboratory")["usual_requests"]:
        remember_request(
            by=by,
            at=at,
            client=clients[raw["client"]],
            methods=list(Method.objects.filter(code__in=raw["methods"])),
            basis=Basis(raw["basis"]),
            limit_set=limits[raw["limits"]],
        )


def _layouts(by: Person, at: datetime) -> dict[str, Layout]:
    """Layouts of files of readings, by name; those of weighings are saved beside them."""
    for raw in read("layouts")["weighing_layouts"]:
        save_layout(by=by, at=at, specification=WeighingLayout.from_json(json.dumps(raw)))
    specifications = [LayoutSpecification.from_json(json.dumps(raw)) for raw in read("layouts")["layouts"]]
    return {
        specification.name: save_layout(by=by, at=at, specification=specification) for specification in specifications
    }
