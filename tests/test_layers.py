"""The one-way rule: data flows down the list, imports point up it."""

import ast
from pathlib import Path

import pytest

import flowcast

ROOT = Path(flowcast.__file__).parent

# Data flows down this list; a part imports only parts above it (and its own).
ORDER = [
    "errors",
    "tables",
    "numbers",
    "spells",
    "messages",
    "reading",
    "yard",
    "sources",
    "weather",
    "foraging",
    "scale_log",
    "flow",
    "verification",
    "beetle",
    "reasons",
    "advice",
    "results",
    "plots",
    "report",
    "pipeline",
    "cli",
    "__init__",
    "__main__",
]
PURE = {
    "weather",
    "foraging",
    "scale_log",
    "flow",
    "verification",
    "beetle",
    "reasons",
    "advice",
    "spells",
}
OUTSIDE_WORLD = {
    "requests",
    "urllib",
    "socket",
    "os",
    "pathlib",
    "io",
    "subprocess",
    "random",
    "tempfile",
}


def _modules():
    return sorted(ROOT.rglob("*.py"))


def _part(path):
    first = path.relative_to(ROOT).parts[0]
    return first.removesuffix(".py")


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module
            yield from (
                f"{node.module}.{alias.name}" for alias in node.names if node.module == "flowcast"
            )


@pytest.mark.parametrize("path", _modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_up(path):
    here = ORDER.index(_part(path))
    for name in _imports(path):
        parts = name.split(".")
        if parts[0] == "flowcast" and len(parts) > 1 and parts[1] in ORDER:
            assert ORDER.index(parts[1]) <= here, f"{path.name} imports {name}, which lies below it"


@pytest.mark.parametrize(
    "path", [p for p in _modules() if _part(p) in PURE], ids=lambda p: str(p.relative_to(ROOT))
)
def test_pure_parts_touch_no_file_network_or_clock(path):
    tree = ast.parse(path.read_text("utf-8"))
    for name in _imports(path):
        assert name.split(".")[0] not in OUTSIDE_WORLD, f"{path.name} imports {name}"
        assert not name.startswith(("flowcast.sources", "flowcast.yard", "flowcast.report"))
    calls = {ast.unparse(n.func) for n in ast.walk(tree) if isinstance(n, ast.Call)}
    forbidden = {
        "open",
        "print",
        "pd.Timestamp.now",
        "pd.Timestamp.today",
        "np.random.seed",
        "pd.read_csv",
    }
    assert not calls & forbidden
    assert not any(c.startswith("np.random.") and c != "np.random.default_rng" for c in calls)


def test_every_part_has_its_place_in_the_order():
    assert {_part(p) for p in _modules()} <= set(ORDER)
