"""The hazard log for reading: a short list for a terminal, or a document."""

from __future__ import annotations

from limbtier.domain.edition import Edition
from limbtier.domain.hazard import Control, Hazard, HazardLog, Level, Risk
from limbtier.domain.rule import GuardRails
from limbtier.governance.document import (
    Cell,
    Document,
    Line,
    Name,
    Paragraph,
    Section,
    Strong,
    Table,
    cell,
    joined,
)
from limbtier.governance.hazard_log import KINDS


def hazard_list(log: HazardLog, edition: Edition, guard_rails: GuardRails) -> str:
    """A line for each hazard, for a terminal."""
    lines = [
        f"{log.title}, version {log.version}, beside {edition.id} and guard rails {guard_rails.version}",
        f"{edition.id}: digest {edition.digest}",
        "",
        *(
            f"{hazard.id}: rating {log.rating(hazard.initial)} without controls, "
            f"{log.rating(hazard.residual)} with {_counted(len(hazard.controls), 'control')}; {hazard.status}"
            for hazard in log.hazards
        ),
        "",
        log.statement,
        f"Sign-off: {log.sign_off}",
    ]
    return "\n".join(lines) + "\n"


def hazard_document(log: HazardLog, edition: Edition, guard_rails: GuardRails) -> Document:
    """The whole log as a document, beside an edition."""
    head = (
        ("Version of the log", cell(log.version)),
        ("Gone through on", cell(log.reviewed_on.isoformat())),
        ("Edition beside it", ((Name(edition.id), ", digest ", Name(edition.digest)),)),
        ("Guard rails", ((f"version {guard_rails.version}, digest ", Name(guard_rails.digest)),)),
        ("Sign-off", cell(log.sign_off)),
    )
    overview = tuple(
        (
            ((Name(hazard.id),),),
            cell(hazard.hazard),
            cell(_risk(log, hazard.initial)),
            cell(_risk(log, hazard.residual)),
            cell(hazard.status),
        )
        for hazard in log.hazards
    )
    columns = ("Hazard", "What could go wrong", "Risk without controls", "Residual risk", "Status")
    return Document(
        log.title,
        (
            Paragraph((Strong("Template. "), log.statement), notice=True),
            Table("The log", ("What", "Which"), tuple((cell(what), which) for what, which in head)),
        ),
        (
            Section("Overview", "overview", (Table("All hazards", columns, overview),)),
            Section("Hazards", "hazards", (), tuple(_section(log, hazard) for hazard in log.hazards)),
            _scales(log),
        ),
    )


def _section(log: HazardLog, hazard: Hazard) -> Section:
    rows: tuple[tuple[str, Cell], ...] = (
        ("Hazard", cell(hazard.hazard)),
        ("Causes", cell(*hazard.causes)),
        ("Effect", cell(hazard.effect)),
        ("Risk without controls", cell(_risk(log, hazard.initial))),
        ("Controls", tuple(_control(control) for control in hazard.controls)),
        ("Residual risk", cell(_risk(log, hazard.residual))),
        ("Left to the deploying organisation", cell(*(hazard.left_to_deployer or ("Nothing.",)))),
        ("Status", cell(hazard.status)),
    )
    table = Table(hazard.id, ("Part", "Text"), tuple((cell(part), text) for part, text in rows))
    return Section(hazard.id, f"hazard-{hazard.id}", (table,))


def _control(control: Control) -> Line:
    shown_by: list[Line] = [(f"{KINDS[one.kind]} ", Name(one.name)) for one in control.shown_by]
    return (f"{control.text} Shown by ", *joined(shown_by, ", "), ".")


def _scales(log: HazardLog) -> Section:
    severities, likelihoods = log.severities, log.likelihoods
    ratings = tuple(
        (
            cell(likelihood.title),
            *(cell(str(log.ratings[likelihood.name, severity.name])) for severity in severities),
        )
        for likelihood in reversed(likelihoods)
    )
    meanings = tuple((cell(str(rating)), cell(text)) for rating, text in sorted(log.acceptability.items()))
    return Section(
        "Scales",
        "scales",
        (
            Paragraph((log.scales_source,)),
            _scale("Severity", severities),
            _scale("Likelihood", likelihoods),
            Table("Ratings", ("Likelihood", *(severity.title for severity in severities)), ratings),
            Table("What a rating means", ("Rating", "Meaning"), meanings),
        ),
    )


def _scale(title: str, levels: tuple[Level, ...]) -> Table:
    rows = tuple((cell(level.title), cell(level.meaning)) for level in levels)
    return Table(f"{title}, lowest first", (title, "Meaning"), rows)


def _risk(log: HazardLog, risk: Risk) -> str:
    titles = {level.name: level.title for level in (*log.severities, *log.likelihoods)}
    return (
        f"{log.rating(risk)} ({titles[risk.severity].lower()}, likelihood {titles[risk.likelihood].lower()})"
    )


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"
