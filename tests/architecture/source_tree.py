"""What the source files of the package import, and which of the house rules that breaks."""

import ast
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

PACKAGE = "limbtier"
MOST_LINES = 450

# From the top down: each may import only what stands in a row below its own, and nothing else of its row.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("__main__",),
    ("app", "cli", "commands"),
    ("api", "pages"),
    ("use_cases",),
    ("interop", "governance", "audit", "bulk"),
    ("engine", "rulesets", "store"),
    ("domain", "measures"),
    ("foundation",),
    ("__init__",),
)
# The command line is its commands, one of which starts the application.
ALLOWED_IN_ROW = {("cli", "commands"), ("commands", "app")}

# Who alone may import it: files and folders of the package.
RESERVED: Mapping[str, tuple[str, ...]] = {
    "alembic": ("store/",),
    "durable": ("engine/matcher.py",),
    "yaml": ("rulesets/",),
    "fastapi": ("api/", "app.py", "commands/"),
    "fastapi_swagger": ("api/", "app.py"),
    "h11": ("api/",),
    "jwt": ("interop/",),
    "markdown_it": ("api/",),
    "opentelemetry": ("api/traces.py", "app.py"),
    "sqlalchemy": ("store/",),
    "starlette": ("api/", "app.py", "commands/"),
    "uvicorn": ("api/", "app.py", "commands/"),
    "z3": ("governance/proofs/",),
}
# Part of another package's documented interface, and pinned by it.
COMES_WITH = {"starlette": "fastapi", "pydantic_core": "pydantic"}

DYNAMIC = "<import by name>"


@dataclass(frozen=True, slots=True)
class Import:
    """One imported module: its full dotted name, and where the import stands."""

    module: str
    file: str
    line: int

    @property
    def top(self) -> str:
        """The first part of the module's name."""
        return self.module.partition(".")[0]

    @property
    def place(self) -> str:
        """File and line, as in a message."""
        return f"{self.file}:{self.line}"


def imports_of(package: Path) -> Iterator[Import]:
    """Yield each import of each file, also those inside functions and type-checking blocks."""
    for path in sorted(package.rglob("*.py")):
        file = path.relative_to(package).as_posix()
        own = [PACKAGE, *path.relative_to(package).parent.parts]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"), filename=str(path))):
            if isinstance(node, ast.Import | ast.ImportFrom | ast.Call):
                for module in _modules(node, own, package):
                    yield Import(module, file, node.lineno)


def _modules(node: ast.Import | ast.ImportFrom | ast.Call, own: list[str], package: Path) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        base = own[: len(own) - node.level + 1] if node.level else []
        source = ".".join([*base, *(node.module.split(".") if node.module else [])])
        if source == PACKAGE:  # `from limbtier import engine` imports a folder, not a name of the package
            yield from (f"{source}.{alias.name}" for alias in node.names if _is_module(package, alias.name))
            if not all(_is_module(package, alias.name) for alias in node.names):
                yield source
        else:
            yield source
    elif ast.unparse(node.func).rpartition(".")[2] in {
        "import_module",
        "__import__",
    }:
        yield DYNAMIC


def _is_module(package: Path, name: str) -> bool:
    return (package / name).is_dir() or (package / f"{name}.py").is_file()


def layer_breaches(package: Path) -> list[str]:
    """Say which imports do not go down the table, and which folders the table does not know."""
    row_of = {name: row for row, names in enumerate(LAYERS) for name in names}
    units = {path.stem if path.suffix == ".py" else path.name for path in package.iterdir()} - {"__pycache__"}
    found = [f"{name}: not in the table of layers" for name in sorted(units - set(row_of))]
    for one in imports_of(package):
        if one.top != PACKAGE:
            continue
        importer = one.file.partition("/")[0].removesuffix(".py")
        imported = one.module.partition(".")[2].partition(".")[0] or "__init__"
        if importer == imported or importer not in row_of or (importer, imported) in ALLOWED_IN_ROW:
            continue
        if imported not in row_of or row_of[imported] <= row_of[importer]:
            found.append(f"{one.place}: {importer} may not import {imported}")
    return found


def reservation_breaches(package: Path) -> list[str]:
    """Say which imports of a reserved package stand outside its place, or hide what they import."""
    found = []
    for one in imports_of(package):
        if one.module == DYNAMIC:
            found.append(f"{one.place}: an import by name hides what is imported")
        allowed = RESERVED.get(one.top)
        if allowed is not None and not any(
            one.file == place or (place.endswith("/") and one.file.startswith(place)) for place in allowed
        ):
            found.append(f"{one.place}: only {', '.join(allowed)} may import {one.top}")
    return found


def undeclared(package: Path, declared: set[str], provided_by: Mapping[str, list[str]]) -> list[str]:
    """Say which third-party imports no declared dependency brings.

    `declared` holds normalised distribution names; `provided_by` maps a module to its distributions.
    """
    found = []
    for one in imports_of(package):
        if one.top in sys.stdlib_module_names or one.top in {PACKAGE, DYNAMIC}:
            continue
        module = COMES_WITH.get(one.top, one.top)
        if not declared & {normalised(name) for name in provided_by.get(module, [])}:
            found.append(f"{one.place}: {one.top} comes from no declared dependency")
    return found


def too_long(service: Path) -> list[str]:
    """Say which files have more lines than a reader can hold."""
    lengths = {
        path: len(path.read_text(encoding="utf-8").splitlines())
        for path in sorted(service.rglob("*.py"))
        if path != service / "bootstrap.py"
    }
    return [
        f"{path.relative_to(service).as_posix()}: {lines} lines, at most {MOST_LINES}"
        for path, lines in lengths.items()
        if lines > MOST_LINES
    ]


def normalised(distribution: str) -> str:
    """Return the name of a distribution as the packaging standards compare it."""
    return distribution.lower().replace("_", "-").replace(".", "-")
