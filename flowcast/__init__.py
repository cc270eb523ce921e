"""flowcast: nectar-flow outlooks from weather data and hive scale logs, with stated uncertainty.

    import flowcast
    found = flowcast.outlook("sample_yards/new-garden", as_of="2026-04-10")
    found.outlook.window.chance

The names below load their part when first used, so that importing flowcast costs nothing.
"""

from importlib import import_module
from typing import Any

_WHERE = {
    "Reach": "flowcast.pipeline",
    "backtest": "flowcast.pipeline",
    "beetles": "flowcast.pipeline",
    "check": "flowcast.pipeline",
    "explain": "flowcast.pipeline",
    "outlook": "flowcast.pipeline",
    "pull": "flowcast.pipeline",
    "timing": "flowcast.pipeline",
    "read_yard": "flowcast.yard",
    "render_page": "flowcast.report.page",
    "load_numbers": "flowcast.numbers",
    "FlowcastError": "flowcast.errors",
}
__all__ = [
    "FlowcastError",
    "Reach",
    "backtest",
    "beetles",
    "check",
    "explain",
    "load_numbers",
    "outlook",
    "pull",
    "read_yard",
    "render_page",
    "timing",
]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'flowcast' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
