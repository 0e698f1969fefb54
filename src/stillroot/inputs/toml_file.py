"""An input file: TOML read into sections, validated, and written out again with every default."""

from __future__ import annotations

import hashlib
import json
import os
import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import tomli_w
from pydantic import ValidationError

from stillroot.errors import CaseError
from stillroot.inputs.case_messages import Problem, case_error, problems_of, written
from stillroot.inputs.section import Section, sections_of

if TYPE_CHECKING:
    from collections.abc import Mapping

LARGEST_FILE = 100_000
"""Characters of a case file or an outline: a usual case has a thousand."""
DEEP_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){20}""")
"""Keys of very many parts, a.a.a…: the memory to read one grows with the square of their number."""


class InputFile(Section):
    """Base of the sections at the top of a file."""

    @classmethod
    def from_dict(cls, data: Mapping[str, object], file: str | None = None) -> Self:
        """Return the case or plan of nested dictionaries laid out as its file is.

        Raises
        ------
        CaseError
            A key or value is wrong; one line per problem, each with the name of the file.
        """
        try:
            return cls.model_validate(dict(data))
        except ValidationError as error:
            raise case_error(problems_of(error, data, sections_of(cls, data)), file) from None

    def to_dict(self) -> dict[str, Any]:
        """Return dictionaries with every default; `from_dict` makes an equal value of them."""
        data: dict[str, Any] = _without_negative_zero(self.model_dump(mode="json", exclude_none=True))
        return data

    def fingerprint(self) -> str:
        """Return the SHA-256 (hex) of all values with every default; equal inputs have equal ones."""
        text = json.dumps(self.to_dict(), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def resolved_toml(stated: InputFile) -> str:
    """Return a case as TOML with every default; `read_case` makes an equal case of it."""
    return tomli_w.dumps(stated.to_dict())


def read_toml(path: str | os.PathLike[str], kind: str) -> dict[str, Any]:
    """Read a TOML file of a case, or of another `kind` of input.

    Raises
    ------
    CaseError
        The file cannot be read or is no valid TOML.
    """
    file = os.fspath(path)
    text = _read_text(Path(path), file, kind)
    try:
        if not DEEP_KEY.search(text):
            return tomllib.loads(text)
        told = f"has a key of more than twenty parts; a {kind} has sections and keys, no deeper"
    except tomllib.TOMLDecodeError as error:
        told = f"is not valid TOML: {error}"
    except RecursionError:
        told = "cannot be read: it contains lists or tables nested too deeply"
    except ValueError:
        told = "cannot be read: it contains a number of too many digits"
    raise CaseError(f"{file}: {told}", file=file)  # noqa: EM102 - put together above


def _read_text(path: Path, shown: str, kind: str) -> str:
    try:
        with path.open(encoding="utf-8-sig") as stream:
            text = stream.read(LARGEST_FILE + 1)
        if len(text) <= LARGEST_FILE:
            return text
        told = f"is too long: must have at most {LARGEST_FILE} letters"
    except FileNotFoundError:
        told = f"there is no such file; give the path of a {kind} file (TOML)"
    except IsADirectoryError:
        told = f"is a folder; give the path of a {kind} file (TOML) in it"
    except UnicodeDecodeError as error:
        told = f"is not UTF-8 text (byte {error.start + 1}); save it as UTF-8"
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        told = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    raise CaseError(f"{shown}: {told}", file=shown)  # noqa: EM102 - put together above


def take_named_file(table: dict[str, Any], key: str, instead_of: str, place: str, file: str) -> str:
    """Remove from a raw table, at a `place`, a key that names a file instead of another key; return it.

    Raises
    ------
    CaseError
        It is no name, or the other key is there too.
    """
    name, text = table.pop(key), ""
    if not isinstance(name, str) or "\0" in name:
        text = "must be the name of a file, in quotes"
    elif instead_of in table:
        text = f"is not used with {instead_of}; give one of the two"
    refuse_name(f"{place}.{key}", name, text, file)
    return str(name)


def refuse_name(key: str, name: object, text: str, file: str) -> None:
    """Raise the error on a key that names a file, unless `text`, what is wrong with it, is empty."""
    if text:
        raise case_error([Problem(key=key, value=written(name), text=text)], file)


def _without_negative_zero(data: Any) -> Any:
    """Replace -0.0 by 0.0, so that equal inputs are written alike."""
    if isinstance(data, dict):
        return {key: _without_negative_zero(value) for key, value in data.items()}
    if isinstance(data, list):
        return [_without_negative_zero(value) for value in data]
    return data + 0.0 if isinstance(data, float) else data
