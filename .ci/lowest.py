"""Print, as constraints for pip, the lowest version of each dependency that pyproject.toml says creepfit works with."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"

NOT_OURS = ("pyparsing<3.3",)
"""What old releases of a dependency need held back: newer pyparsing warns of names that matplotlib 3.9 uses, and in tests a
warning is an error."""


def main() -> None:
    project = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    listed = [*project["dependencies"], *(r for group in project["optional-dependencies"].values() for r in group)]
    for requirement in listed:
        if found := re.fullmatch(r"([A-Za-z0-9._-]+)>=([0-9.]+)", requirement):
            print(f"{found[1]}=={found[2]}")
    print(*NOT_OURS, sep="\n")


if __name__ == "__main__":
    main()
