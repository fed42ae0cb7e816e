"""Set limbtier up in its own environment, and run its demonstration or its tests.

    python3 service/bootstrap.py demo  [arguments of limbtier demo]
    python3 service/bootstrap.py tests [arguments of pytest]

Needs the standard library only and is readable by any Python 3.6 or newer. limbtier itself needs Python 3.11
or 3.12; a fitting one is looked for on the PATH when this file is run by another.

The environment is the folder `.venv` of the checkout, or the one that LIMBTIER_VENV names. It is made on the
first run and made anew when the pinned requirements change. Exit code: that of the program run; 2 when it
could not be set up.
"""

import hashlib
import json
import os
import shlex
import shutil
import subprocess
import sys
from typing import Dict, List, Tuple

CHECKOUT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VERSIONS = ((3, 12), (3, 11))
REQUIREMENTS = {"demo": "requirements.txt", "tests": "requirements-test.txt"}
BUILD_TOOL = "setuptools"
BUILT_FROM_SOURCE = "durable-rules"  # the only requirement without ready-made wheels
MARKER = "limbtier-environment.json"
CANNOT_SET_UP = 2


class SetUpError(Exception):
    """The environment cannot be set up; the message says why and what to do."""


def main(arguments: List[str]) -> int:
    """Do what the first argument names; return the exit code."""
    if not arguments or arguments[0] not in REQUIREMENTS:
        print(__doc__)
        return 0 if arguments and arguments[0] in ("-h", "--help") else CANNOT_SET_UP
    task, rest = arguments[0], arguments[1:]
    programs = ready_environment(task)
    if task == "demo":
        say("starting limbtier demo")
        return run([os.path.join(programs, "limbtier"), "demo"] + rest)
    return run_checks(programs, rest)


def run_checks(programs: str, pytest_arguments: List[str]) -> int:
    """Run the style and type checks, then pytest; all of them, so that one run shows all that is wrong."""
    python = os.path.join(programs, "python")
    checks = {
        "ruff check": ["ruff", "check"],
        "ruff format": ["ruff", "format", "--check"],
        "mypy": ["mypy"],
        "pytest": ["pytest"] + pytest_arguments,
    }
    codes = {}  # type: Dict[str, int]
    for name, command in checks.items():
        say("running " + name)
        codes[name] = run([python, "-m"] + command)
    failed = [name for name, code in codes.items() if code != 0]
    if failed:
        say("failed: " + ", ".join(failed))
    return codes["pytest"] or max(codes.values())


def ready_environment(task: str) -> str:
    """Make the environment fit for the task; return the folder of its programs."""
    if os.name != "posix":
        raise SetUpError("limbtier runs on Linux and macOS; on Windows use the Windows Subsystem for Linux.")
    folder = os.path.abspath(os.environ.get("LIMBTIER_VENV") or os.path.join(CHECKOUT, ".venv"))
    programs = os.path.join(folder, "bin")
    python = os.path.join(programs, "python")
    wanted = {name: digest_of(requirements) for name, requirements in REQUIREMENTS.items()}
    held = installed_in(folder)
    current = bool(held) and all(held[name] == wanted[name] for name in held)
    usable = current and version_of(python) in VERSIONS
    if usable and (task in held or "tests" in held):  # what the tests need includes what the demo needs
        return programs
    if not usable:
        create(folder)
        held = {}
    install(task, folder, python, build=not usable)
    held[task] = wanted[task]
    write_marker(folder, held)
    return programs


def installed_in(folder: str) -> Dict[str, str]:
    """Return the digests of what the environment holds: none when it is absent, unfinished or spoilt."""
    if os.path.lexists(folder) and not os.path.isdir(folder):
        raise SetUpError(folder + " is not a folder. Remove it, or name another with LIMBTIER_VENV.")
    if not os.path.isdir(folder) or not os.listdir(folder):
        return {}
    try:
        with open(os.path.join(folder, MARKER), encoding="utf-8") as marker:
            digests = dict(json.load(marker))
    except FileNotFoundError:
        raise SetUpError(
            "The folder " + folder + " exists and was not made by this command, so it is left as it is. "
            "Remove it, or name another folder with LIMBTIER_VENV."
        ) from None
    except (OSError, TypeError, ValueError):
        return {}
    return {str(name): str(digest) for name, digest in digests.items() if name in REQUIREMENTS}


def create(folder: str) -> None:
    """Make the environment, empty but for pip."""
    interpreter = fitting_interpreter()
    check_compiler(interpreter)
    say("making the environment {} with {}".format(folder, interpreter))
    try:
        if os.path.isdir(folder):
            shutil.rmtree(folder)
        os.makedirs(folder)
        write_marker(folder, {})
    except OSError as problem:
        raise SetUpError("Cannot make the folder {}: {}.".format(folder, problem)) from problem
    must_run(
        [interpreter, "-m", "venv", folder],
        "Python could not make a virtual environment. On Debian and Ubuntu install its package: "
        "apt-get install python3-venv",
    )


def install(task: str, folder: str, python: str, build: bool) -> None:
    """Install the pinned requirements of the task, each checked against its hash, and limbtier itself."""
    requirements = os.path.join(CHECKOUT, REQUIREMENTS[task])
    pip = [python, "-m", "pip", "install", "--disable-pip-version-check"]
    pinned = pip + ["--require-hashes"]
    no_access = "A package could not be installed. Is the package index that pip is set up for reachable?"
    if build:
        # Built with the pinned build tool and never taken from a cache: the package drops the compiler's
        # optimisation unless it is part of CC, so a build made elsewhere may be the slow one.
        say("building " + BUILT_FROM_SOURCE)
        for name, options in (
            (BUILD_TOOL, ["--only-binary=:all:"]),
            (BUILT_FROM_SOURCE, ["--no-deps", "--no-build-isolation", "--no-cache-dir"]),
        ):
            only = os.path.join(folder, name + ".txt")
            with open(only, "w", encoding="utf-8") as file:
                file.write(pin_of(name, requirements))
            must_run(pinned + options + ["-r", only], no_access)
    say("installing {} (this may take some minutes)".format(REQUIREMENTS[task]))
    must_run(pinned + ["--only-binary=:all:", "-r", requirements], no_access)
    say("installing limbtier from " + CHECKOUT)
    must_run(
        pip + ["--no-deps", "--no-build-isolation", "--no-index", "--editable", CHECKOUT],
        "limbtier itself could not be installed.",
    )


def pin_of(name: str, requirements: str) -> str:
    """Return the lines of a requirements file that pin one package with its hashes."""
    with open(requirements, encoding="utf-8") as file:
        lines = iter(file.read().splitlines())
    for line in lines:
        if line.startswith(name + "=="):
            pin = [line]
            while pin[-1].endswith("\\"):
                pin.append(next(lines))
            return "\n".join(pin) + "\n"
    raise SetUpError(os.path.basename(requirements) + " does not pin " + name + ".")


def fitting_interpreter() -> str:
    """Return this interpreter if limbtier runs on it, else one from the PATH."""
    if sys.version_info[:2] in VERSIONS and sys.implementation.name == "cpython":
        # Inside a virtual environment, the one that made it: this one may be about to be removed.
        return str(getattr(sys, "_base_executable", None) or sys.executable)
    for major, minor in VERSIONS:
        found = shutil.which("python{}.{}".format(major, minor))
        if found and version_of(found) == (major, minor):
            return found
    raise SetUpError(
        "limbtier needs CPython 3.11 or 3.12, and this is {} {}.{}. Why: durable-rules, which matches the "
        "rules, compiles on 3.13 but does not import there, and older versions lack parts of the language "
        "that limbtier is written in. Install one of the two so that python3.12 or python3.11 is on the "
        "PATH, and run this again.".format(sys.implementation.name, *sys.version_info[:2])
    )


def version_of(python: str) -> Tuple[int, ...]:
    """Return major and minor version of an interpreter, or an empty tuple when it does not run."""
    question = "import sys; print(sys.implementation.name, *sys.version_info[:2])"
    try:
        answer = subprocess.run(
            [python, "-c", question], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=True
        )
        implementation, major, minor = answer.stdout.decode().split()
    except (OSError, ValueError, subprocess.CalledProcessError):
        return ()
    return (int(major), int(minor)) if implementation == "cpython" else ()


def check_compiler(interpreter: str) -> None:
    """Refuse to start without a C compiler that finds the headers of the interpreter."""
    compiler = shlex.split(compiler_setting())
    if not compiler or shutil.which(compiler[0]) is None:
        raise SetUpError(
            "A C compiler is needed to build {}, and {!r} was not found. Install one (Debian, Ubuntu: "
            "apt-get install gcc libc6-dev; Fedora: dnf install gcc; macOS: xcode-select --install), "
            "or set CC to yours.".format(BUILT_FROM_SOURCE, " ".join(compiler))
        )
    question = "import sysconfig; print(sysconfig.get_path('include'))"
    headers = subprocess.run([interpreter, "-c", question], stdout=subprocess.PIPE).stdout.decode().strip()
    trial = subprocess.run(
        compiler + ["-I" + headers, "-x", "c", "-fsyntax-only", "-"],
        input=b"#include <Python.h>\n",
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    if trial.returncode != 0:
        raise SetUpError(
            "The C compiler {!r} cannot read the headers of Python, which building {} needs. On Debian and "
            "Ubuntu install them: apt-get install libc6-dev python3-dev. It said:\n{}".format(
                compiler[0], BUILT_FROM_SOURCE, trial.stdout.decode(errors="replace").strip()
            )
        )


def compiler_setting() -> str:
    """Return the C compiler with its options."""
    return os.environ.get("CC") or "cc -O2"


def digest_of(requirements: str) -> str:
    """Return a digest of all that decides what is installed for one task."""
    digest = hashlib.sha256()
    for name in (requirements, "pyproject.toml", os.path.join("service", "bootstrap.py")):
        try:
            with open(os.path.join(CHECKOUT, name), "rb") as file:
                digest.update(hashlib.sha256(file.read()).digest())
        except OSError as problem:
            raise SetUpError(
                "Cannot read {}: {}. Is this a whole checkout?".format(name, problem)
            ) from problem
    digest.update(CHECKOUT.encode("utf-8", "surrogateescape"))  # the editable install points there
    return digest.hexdigest()


def write_marker(folder: str, installed: Dict[str, str]) -> None:
    """Note in the environment what it holds; done last, so that a broken-off installation is done again."""
    with open(os.path.join(folder, MARKER), "w", encoding="utf-8") as marker:
        json.dump(installed, marker)


def must_run(command: List[str], advice: str) -> None:
    """Run a step of the installation; when it fails show its output and the advice, and give up."""
    done = subprocess.run(
        command, cwd=CHECKOUT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    if done.returncode != 0:
        print(done.stdout.decode(errors="replace").rstrip(), flush=True)
        raise SetUpError(advice)


def run(command: List[str]) -> int:
    """Run a program in the checkout and return its exit code."""
    try:
        code = subprocess.run(command, cwd=CHECKOUT, env=environment()).returncode
    except OSError as problem:
        raise SetUpError(
            "Cannot start {}: {}. Remove the environment and run this again.".format(command[0], problem)
        ) from problem
    return code if code >= 0 else 128 - code


def environment() -> Dict[str, str]:
    """Return the variables that programs are run with: nothing that leads Python out of the environment."""
    variables = {name: text for name, text in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    variables["CC"] = compiler_setting()
    return variables


def say(line: str) -> None:
    """Print what is being done."""
    print("limbtier: " + line, flush=True)


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except SetUpError as problem:
        print("limbtier: {}".format(problem), file=sys.stderr, flush=True)
        sys.exit(CANNOT_SET_UP)
    except KeyboardInterrupt:
        sys.exit(130)
