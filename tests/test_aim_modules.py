"""The modules of ``hoopwise aim`` import each other one way."""

import ast
from pathlib import Path

import hoopwise.cli.aim

HERE = Path(hoopwise.cli.aim.__file__).parent


def imported(name: str) -> set[str]:
    """Modules of aim that a module of aim imports anywhere, for types too."""
    tree = ast.parse((HERE / f"{name}.py").read_text("utf-8"))
    whence = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    return {at.rsplit(".", 1)[1] for at in whence if at.startswith("hoopwise.cli.aim")}


def test_no_module_of_aim_imports_one_that_imports_it() -> None:
    left = {path.stem: imported(path.stem) for path in HERE.glob("aim*.py")}
    assert left["aim"] >= {"aim_types", "aim_print", "aim_json", "aim_plot"}
    while left:
        free = {name for name, needs in left.items() if not needs & left.keys()}
        assert free, f"a circle among {sorted(left)}"
        left = {name: needs for name, needs in left.items() if name not in free}
