"""What is said of a command line that cannot be read: one sentence with what is wrong, what is allowed and the fix."""

from __future__ import annotations

import difflib
import re
import sys
from collections.abc import Sequence
from typing import Any

import typer
from typer.core import TyperGroup

from materials.plain import visible

from .streams import Console

_UsageError: Any = typer.BadParameter.__bases__[0]  # wherever this version of typer keeps it
_WANTED = {
    "distance": ("a distance in metres", "2.5"), "samples": ("a whole number of paths a pixel, from 1", "64"),
    "until": ("a number of stops", "0.05"), "threads": ("a whole number, from 1", "2"), "depth": ("8 or 16", "8"),
}  # fmt: skip
_ARGUMENTS = {
    "scene": "Name a scene file, e.g. keyfall {command} scene.toml{output}.",
    "looks": "Name one scene file or more, e.g. keyfall {command} scene.toml{output}.",
    "setups": "Name modifiers, e.g. keyfall beam standard-reflector+grid-20 snoot; keyfall kit lists them.",
    "folder": "Name a folder with results, e.g. keyfall {command} look.",
    "output": "Add -o and its name, e.g. -o look.",
}
_NUMBER_WITH_UNIT = re.compile(r"\s*([-+]?[0-9]+(?:[.,][0-9]+)?)\s*[a-zA-Z%]*\s*")


class Commands(TyperGroup):
    """The commands, with their own words for a command line that cannot be read."""

    def main(self, args: Sequence[str] | None = None, *, standalone_mode: bool = True, **keys: Any) -> Any:  # type: ignore[override]
        """Run a command; with `standalone_mode`, as a shell does, leave with its exit code."""
        if not standalone_mode:
            return super().main(args, standalone_mode=False, **keys)
        given = list(sys.argv[1:] if args is None else args)
        try:
            code = super().main(args, standalone_mode=False, **keys)
        except _UsageError as error:
            if type(error).__name__ == "NoArgsIsHelpError":
                error.show()
                sys.exit(2)
            Console(stderr=True).print(
                usage_words(error, given), markup=False, highlight=False, style="red", soft_wrap=True
            )
            sys.exit(2)
        sys.exit(code if isinstance(code, int) else 0)


def usage_words(error: Any, given: Sequence[str]) -> str:
    """What is wrong with a command line, what is allowed, and where to read more.

    Parameters
    ----------
    error : what typer raised. given : the words after `keyfall`.
    """
    context = getattr(error, "ctx", None)
    command = context.info_name if context is not None and context.parent is not None else ""
    if context is None and given and not given[0].startswith("-"):
        command = visible(given[0])
    kind = type(error).__name__
    if kind == "MissingParameter":
        output = " -o look" if command in ("preview", "compare", "build-up", "board", "plan", "export") else ""
        asked = _ARGUMENTS.get(error.param.name, "")
        said = asked.format(command=command, output=output) or f"{_hint(error.param)} is missing."
        return f"{_missing(error.param)} {said}{_more(command)}"
    if kind == "NoSuchOption":
        return f"{_no_option(error, context)}{_more(command)}"
    if kind == "BadParameter":
        return f"{_bad_value(error, given)}{_more(command)}"
    return f"{_other(visible(error.format_message()), context)}{_more(command)}"


def _more(command: str) -> str:
    return f" keyfall {command} --help shows what it takes." if command else " keyfall --help lists the commands."


def _hint(param: Any) -> str:
    return " or ".join(param.opts) if param.opts and param.opts[0].startswith("-") else str(param.name)


def _missing(param: Any) -> str:
    missing = {
        "scene": "No scene file is named.", "looks": "No scene file is named.", "setups": "No modifiers are named.",
        "folder": "No folder is named.", "output": "The folder for the results is missing.",
    }  # fmt: skip
    return missing.get(param.name, "")


def _no_option(error: Any, context: Any) -> str:
    name = visible(error.option_name)
    known = [opt for param in context.command.params for opt in (*param.opts, *param.secondary_opts)] if context else []
    close = difflib.get_close_matches(error.option_name, [opt for opt in known if opt.startswith("--")], 1, 0.7)
    return f"There is no option {name}.{f' Did you mean {close[0]}?' if close else ''}"


def _bad_value(error: Any, given: Sequence[str]) -> str:
    param = error.param
    names = [] if param is None else [opt for opt in param.opts if opt.startswith("-")]
    message = error.message
    option = (names or [str(getattr(param, "name", "value"))])[0]
    choices = re.findall(r"'([^']*)'", message.split("not one of", 1)[1]) if "not one of" in message else []
    wanted, example = _WANTED.get(getattr(param, "name", ""), ("", ""))
    values = _values(names, given) if names else [word for word in given[1:] if not word.startswith("-")]
    if choices:
        value = next((v for v in values if v not in choices), "")
        close = difflib.get_close_matches(value.lower(), choices, 1, 0.6)
        hint = f" Did you mean {close[0]}?" if close else ""
        what = f"is not allowed for {option}" if names else "is not among what can be listed"
        return f"'{visible(value)}' {what}.{hint} Allowed: {', '.join(choices)}."
    value = next((v for v in values if not _is_number(v, whole="whole" in wanted)), values[-1] if values else "")
    if not wanted:
        return f"'{visible(value)}' is not allowed for {option}: {visible(message)}."
    found = _NUMBER_WITH_UNIT.fullmatch(value)
    bare = found.group(1).replace(",", ".") if found else ""
    fix = bare if bare and _is_number(bare, whole="whole" in wanted) and bare != value else example
    return f"'{visible(value)}' is not allowed for {option}, which takes {wanted}: write {option} {fix}."


def _values(names: Sequence[str], given: Sequence[str]) -> list[str]:
    """What was given for an option, each time."""
    found: list[str] = []
    for at, word in enumerate(given):
        for name in names:
            if word == name:
                found += given[at + 1 : at + 2]
            elif word.startswith(f"{name}="):
                found.append(word[len(name) + 1 :])
            elif not name.startswith("--") and word.startswith(name):
                found.append(word[len(name) :])
    return found


def _is_number(text: str, whole: bool) -> bool:
    try:
        return (int(text) > 0) if whole else float(text) == float(text)
    except ValueError:
        return False


def _other(message: str, context: Any) -> str:
    """Errors that carry nothing but words, in ours where they are known."""
    no_command = re.search(r"No such command '([^']*)'", message)
    if no_command:
        names = list(getattr(context.command, "commands", {})) if context is not None else []
        close = difflib.get_close_matches(no_command.group(1), names, 1, 0.5)
        return f"There is no command '{no_command.group(1)}'.{f' Did you mean {close[0]}?' if close else ''}"
    extra = re.search(r"unexpected extra arguments?(?:\(s\))? \((.*)\)", message)
    if extra:
        first = extra.group(1).split()[0]
        return f"'{first}' is one word too many. A name with spaces stands in quotes."
    needs = re.search(r"Option '([^']*)' requires an argument", message)
    if needs:
        return f"Nothing stands after {needs.group(1)}."
    return message if message.endswith(".") else f"{message}."
